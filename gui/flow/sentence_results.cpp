// Results in sentences.
#include "gui/flow/sentence.hpp"

#include <algorithm>
#include <cmath>
#include <utility>
#include <vector>

namespace idlehark::gui {

namespace {

std::string listed(const std::vector<std::string>& names) {
    std::string text;
    for (const auto& n : names) text += (text.empty() ? "" : ", ") + n;
    return text;
}

/// A cylinder's name, and what it is at the tail pipe where that is another.
std::string name_of(const CylinderLine& k, const Words& say) {
    std::vector<std::string> other;
    for (const int cylinder : k.at_tail_pipe) other.push_back(std::to_string(cylinder));
    return other.empty() ? k.name : say(Word::balance_at_tail_pipe, k.name, listed(other));
}

void add(std::string& text, const std::string& sentence) { text += (text.empty() ? "" : " ") + sentence; }

}  // namespace

std::vector<SpotView> spots_with_results(const ViewState& view, const Words& say) {
    auto spots = view.spots;
    const auto* visit = view.kept ? view.kept->find(view.visit_shown) : nullptr;
    if (!visit) return spots;
    const auto off_map = [&](const std::string& id) -> SpotView* {
        if (view.map.find(id)) return nullptr;
        const auto it = std::find_if(spots.begin(), spots.end(), [&](const SpotView& s) { return s.place.spot == id; });
        if (it != spots.end()) return &*it;
        SpotView s;
        s.place.spot = id;
        s.place.name = say(Word::not_on_map);
        spots.push_back(std::move(s));
        return &spots.back();
    };
    for (const auto& test : visit->tests)
        for (const auto& r : test.spots) {
            auto* s = r.bursts > 0 ? off_map(r.spot) : nullptr;
            if (!s) continue;
            s->bursts = r.bursts;
            s->change_rpm = r.change_rpm;
            s->low_rpm = r.low_rpm;
            s->high_rpm = r.high_rpm;
            s->verdict = r.verdict;
        }
    for (const auto& h : visit->hiss)
        if (auto* s = off_map(h.spot)) {
            s->hiss_db = h.level_db;
            s->hiss_low_db = h.low_db;
            s->hiss_high_db = h.high_db;
            s->hiss_verdict = h.verdict;
        }
    return spots;
}

std::string verdict_sentence(const ViewState& view, const Words& say) {
    std::vector<std::string> leaks, open;
    bool sprayed = false;
    for (const auto& s : spots_with_results(view, say)) {
        if (!s.verdict) continue;
        sprayed = true;
        if (*s.verdict == SprayVerdict::leak)
            leaks.push_back(s.place.name.empty() ? s.place.spot
                                                 : fmt::format("{} ({})", s.place.spot, say.known(s.place.name)));
        if (*s.verdict == SprayVerdict::undecided) open.push_back(s.place.spot);
    }
    if (!sprayed) return say(Word::report_nothing);
    auto text = leaks.empty() ? std::string{say(Word::found_no_leak)} : say(Word::found_leaks, listed(leaks));
    if (!open.empty()) add(text, say(Word::found_open, listed(open)));
    return text;
}

std::string hiss_sentence(const ViewState& view, const Words& say) {
    std::vector<std::string> out, loud;
    bool taken = false, compared = false;
    for (const auto& s : spots_with_results(view, say)) {
        if (!s.hiss_verdict) continue;
        taken = true;
        compared = compared || *s.hiss_verdict != HissVerdict::undecided || std::isfinite(s.hiss_low_db);
        if (*s.hiss_verdict == HissVerdict::stands_out) out.push_back(s.place.spot);
        if (*s.hiss_verdict == HissVerdict::loud_open || *s.hiss_verdict == HissVerdict::loud_steady)
            loud.push_back(s.place.spot);
    }
    if (!taken) return {};
    if (!compared) return std::string{say(Word::hiss_few)};
    if (!out.empty()) return say(Word::hiss_out, listed(out));
    return loud.empty() ? std::string{say(Word::hiss_none)} : say(Word::hiss_loud, listed(loud));
}

std::string injectors_sentence(const ViewState& view, const Words& say) {
    std::string text;
    bool judged = false;
    for (const auto verdict : {InjectorVerdict::silent, InjectorVerdict::missing_clicks, InjectorVerdict::differs}) {
        std::vector<std::string> cylinders;
        for (const auto& i : view.injectors) {
            judged = judged || i.judged;
            if (i.judged == verdict) cylinders.push_back(std::to_string(i.cylinder));
        }
        if (!cylinders.empty()) add(text, say(Word::injectors_found, listed(cylinders), say(word_of(verdict))));
    }
    if (!judged) return {};
    return text.empty() ? std::string{say(Word::injectors_all_regular)} : text;
}

std::string balance_sentence(const BalanceState& balance, const Words& say) {
    std::string text;
    std::size_t even = 0;
    for (const auto verdict : {CylinderVerdict::weak, CylinderVerdict::misfires, CylinderVerdict::sounds_different}) {
        std::vector<std::string> names;
        for (const auto& k : balance.cylinders)
            if (k.verdict == verdict) names.push_back(name_of(k, say));
        if (!names.empty())
            add(text, say(balance.named ? Word::balance_found : Word::balance_found_firing, listed(names),
                          say(word_of(verdict))));
    }
    for (const auto& k : balance.cylinders) even += k.verdict == CylinderVerdict::even ? 1 : 0;
    if (!text.empty()) return text;
    return say(even == balance.cylinders.size() ? Word::balance_even : Word::balance_undecided);
}

std::string compare_sentence(const CompareState& compare, const Words& say) {
    std::string text;
    std::size_t open = 0;
    for (const auto verdict : {ChangeVerdict::better, ChangeVerdict::worse, ChangeVerdict::changed}) {
        std::vector<std::string> names;
        for (const auto& l : compare.lines)
            if (l.verdict == verdict) names.push_back(say.known(l.figure));
        if (!names.empty()) add(text, say(Word::compare_found, say(word_of(verdict)), listed(names)));
    }
    for (const auto& l : compare.lines) open += l.verdict == ChangeVerdict::no_proven ? 1 : 0;
    if (text.empty()) return say(open == 0 ? Word::compare_nothing : Word::compare_no_change);
    if (open > 0) add(text, say(Word::compare_others, open));
    return text;
}

std::string visit_name(const KeptVisit& visit) {
    const auto day = visit.date.substr(0, 10);
    return visit.title.empty() ? day : fmt::format("{}  {}", day, visit.title);
}

std::string burst_words(const KeptBurst& b, const Words& say) {
    std::string text = say(b.sham ? Word::burst_sham : b.by_hand ? Word::burst_by_hand : Word::burst_by_hiss);
    const auto also = [&](bool so, Word word) {
        if (so) text += std::string{", "} + say(word);
    };
    if (std::isfinite(b.duration_s)) text += fmt::format(", {:.1f} s", b.duration_s);
    also(!b.as_asked, Word::burst_not_asked);
    also(b.near_gap, Word::burst_near_gap);
    also(b.undone, Word::burst_undone);
    return text;
}

std::string unit_words(const std::string& unit, const Words& say) {
    return unit == "rpm" ? std::string{say(Word::rpm)} : unit;
}

Word word_of(InjectorVerdict verdict) noexcept {
    switch (verdict) {
        case InjectorVerdict::regular:
            return Word::injector_regular;
        case InjectorVerdict::missing_clicks:
            return Word::injector_missing;
        case InjectorVerdict::differs:
            return Word::injector_differs;
        case InjectorVerdict::silent:
            break;
    }
    return Word::injector_silent;
}

Word word_of(HissVerdict verdict) noexcept {
    switch (verdict) {
        case HissVerdict::stands_out:
            return Word::listen_stands_out;
        case HissVerdict::loud_steady:
            return Word::listen_loud_steady;
        case HissVerdict::loud_open:
            return Word::listen_loud_open;
        case HissVerdict::ordinary:
            return Word::listen_ordinary;
        case HissVerdict::undecided:
            break;
    }
    return Word::verdict_undecided;
}

Word word_of(CylinderVerdict verdict) noexcept {
    switch (verdict) {
        case CylinderVerdict::even:
            return Word::cylinder_even;
        case CylinderVerdict::weak:
            return Word::cylinder_weak;
        case CylinderVerdict::misfires:
            return Word::cylinder_misfires;
        case CylinderVerdict::sounds_different:
            return Word::cylinder_different;
        case CylinderVerdict::undecided:
            break;
    }
    return Word::verdict_undecided;
}

Word word_of(ChangeVerdict verdict) noexcept {
    switch (verdict) {
        case ChangeVerdict::better:
            return Word::change_better;
        case ChangeVerdict::worse:
            return Word::change_worse;
        case ChangeVerdict::changed:
            return Word::change_changed;
        case ChangeVerdict::no_proven:
            return Word::change_no_proven;
        case ChangeVerdict::unknown:
            break;
    }
    return Word::change_unknown;
}

}  // namespace idlehark::gui
