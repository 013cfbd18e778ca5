#include "src/desk/kept_case.hpp"

#include "src/analysis/balance_check.hpp"
#include "src/analysis/hiss_check.hpp"
#include "src/casebook/case_report_of.hpp"
#include "src/casebook/case_result.hpp"
#include "src/casebook/case_text.hpp"
#include "src/casebook/figures.hpp"
#include "src/report/injector_view.hpp"

#include <algorithm>
#include <filesystem>
#include <string_view>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace idlehark {

namespace {

namespace fs = std::filesystem;
using figures::said;

constexpr std::string_view kBalanceRemark = "balance: ";

gui::TakeKind kind_of(RecordingKind kind) {
    switch (kind) {
        case RecordingKind::injector:
            return gui::TakeKind::injector;
        case RecordingKind::hiss:
            return gui::TakeKind::hiss;
        case RecordingKind::bay:
            break;
    }
    return gui::TakeKind::idle;
}

gui::KeptTest test_of(const VerdictView& s) {
    gui::KeptTest t;
    t.recording = s.recording;
    t.guided = s.guided;
    t.idle_rpm = s.idle_rpm;
    t.hunting_rpm = s.hunting_rpm;
    t.smallest_provable_rpm = s.smallest_provable_rpm;
    t.matters_rpm = s.matters_rpm;
    t.length_s = s.length_s;
    for (const auto& r : s.spots)
        t.spots.push_back({.spot = r.spot,
                           .bursts = r.bursts,
                           .change_rpm = r.change_rpm,
                           .low_rpm = r.low_rpm,
                           .high_rpm = r.high_rpm,
                           .verdict = r.verdict});
    for (const auto& b : s.bursts) t.bursts.push_back({b.time_s, std::nan(""), b.spot});
    t.cautions = s.cautions;
    t.notes = s.notes;
    return t;
}

gui::InjectorLine line_of(const ReportInjector& i) {
    gui::InjectorLine line;
    line.cylinder = i.cylinder;
    line.taken = true;
    line.rate_hz = i.rate_hz;
    line.expected_hz = i.expected_hz;
    line.missed_percent = i.missed_percent;
    line.missed_low = i.missed_low;
    line.missed_high = i.missed_high;
    line.jitter_us = i.jitter_us;
    line.open_close_ms = i.open_close_ms;
    line.level_db = i.level_db;
    line.judged = said(
        i.verdict,
        {InjectorVerdict::regular, InjectorVerdict::missing_clicks, InjectorVerdict::differs, InjectorVerdict::silent},
        InjectorVerdict::differs);
    return line;
}

gui::BalanceState balance_of(const ReportVisit& v) {
    gui::BalanceState b;
    b.named = v.firings_named;
    b.half_order_share = v.half_order_share;
    for (const auto& f : v.firings)
        b.cylinders.push_back({.name = f.name,
                               .at_tail_pipe = f.at_tail_pipe,
                               .strength = f.strength,
                               .strength_low = f.strength_low,
                               .strength_high = f.strength_high,
                               .misfire_percent = f.misfire_percent,
                               .misfire_low = f.misfire_low,
                               .misfire_high = f.misfire_high,
                               .verdict = said(f.verdict,
                                               {CylinderVerdict::even, CylinderVerdict::weak, CylinderVerdict::misfires,
                                                CylinderVerdict::sounds_different},
                                               CylinderVerdict::undecided)});
    return b;
}

Result<gui::KeptVisit> visit_of(const Casebook& book, const ReportVisit& v) {
    gui::KeptVisit kept;
    kept.id = v.id;
    kept.date = v.date;
    kept.title = v.title;
    kept.warmth = v.warmth;
    kept.device = v.device;
    kept.note = v.note;
    kept.idle_rpm = v.idle_rpm;
    const auto recordings = book.recordings(v.id);
    if (!recordings) return recordings.error();
    for (const auto& r : recordings.value()) {
        kept.recordings.push_back({r.file, kind_of(r.kind), r.length_s()});
        kept.comparable = kept.comparable || (r.kind == RecordingKind::bay && !r.running);
    }
    for (const auto& a : v.answers) kept.answers.push_back({a.question, a.answer == "yes", a.at});
    if (v.guided) {
        for (const auto& b : v.guided->bursts)
            kept.bursts.push_back({.time_s = b.found_onset_s.value_or(b.time_s),
                                   .duration_s = b.found_duration_s.value_or(std::nan("")),
                                   .spots = fmt::format("{}", fmt::join(b.spots, ", ")),
                                   .sham = b.sham,
                                   .by_hand = b.by_key,
                                   .as_asked = b.asked,
                                   .near_gap = b.near_gap,
                                   .undone = b.undone});
        for (const auto& s : v.guided->skipped) kept.skipped.insert(kept.skipped.end(), s.spots.begin(), s.spots.end());
        kept.ended = v.guided->ended;
    }
    for (const auto& s : v.sprays) kept.tests.push_back(test_of(s));
    for (const auto& i : v.injectors) kept.injectors.push_back(line_of(i));
    kept.balance = balance_of(v);
    for (const auto& h : v.hiss)
        kept.hiss.push_back({.spot = h.spot,
                             .level_db = h.level_db,
                             .low_db = h.level_low_db,
                             .high_db = h.level_high_db,
                             .verdict = said(h.verdict,
                                             {HissVerdict::stands_out, HissVerdict::loud_steady, HissVerdict::loud_open,
                                              HissVerdict::ordinary},
                                             HissVerdict::undecided)});
    kept.remarks = v.remarks;
    // What a recorded pick-up could not name, or names twice; that there are letters without one the page says itself.
    for (const auto& remark : v.remarks)
        for (const auto* about : {"the reference channel has", "the reference's sparks", "at the tail pipe a firing"})
            if (remark.starts_with(kBalanceRemark) && remark.find(about) != std::string::npos)
                kept.balance.cautions.push_back(remark.substr(kBalanceRemark.size()));
    kept.failed = v.failed;
    return kept;
}

}  // namespace

Result<std::shared_ptr<const gui::KeptCase>> kept_case(const Casebook& book) {
    const auto report = report_of(book);
    if (!report) return report.error();
    auto kept = std::make_shared<gui::KeptCase>();
    kept->name = report.value().car;
    kept->notes = report.value().notes;
    for (const auto& v : report.value().visits) {
        auto visit = visit_of(book, v);
        if (!visit) return visit.error();
        kept->visits.push_back(std::move(visit.value()));
    }
    return std::shared_ptr<const gui::KeptCase>{std::move(kept)};
}

Result<std::vector<gui::TracePoint>> kept_trace(const Casebook& book, RowId visit) {
    const auto results = book.latest_results(visit);
    if (!results) return results.error();
    const CaseResult* shown = nullptr;
    bool sprayed = false;
    for (const auto& r : results.value()) {
        if (r.sources.empty() || !r.answered) continue;
        const bool spray = r.kind == "spray" || r.kind == "guided";
        if ((spray && !sprayed) || (r.kind == "idle" && !shown)) shown = &r;
        sprayed = sprayed || spray;
    }
    std::vector<gui::TracePoint> points;
    if (!shown) return points;
    const auto readings =
        shown->sources.size() > 1 ? book.trace(shown->id) : book.trace_of_recording(shown->sources.front().recording);
    if (!readings) return readings.error();
    points.reserve(readings.value().size());
    for (const auto& r : readings.value())
        points.push_back({r.time_s, r.locked ? r.rpm : std::nan(""), r.rpm_low, r.rpm_high});
    return points;
}

std::vector<gui::KnownCase> known_cases(const std::string& cases_folder, const std::string& last_folder) {
    std::vector<gui::KnownCase> known;
    std::error_code code;
    const auto last = last_folder.empty() ? fs::path{} : fs::weakly_canonical(last_folder, code);
    const auto add = [&](const fs::path& folder, const CaseSummary& s) {
        if (!s.fault.empty()) return;
        known.push_back({folder.string(), s.name, s.last_date, s.visits, fs::weakly_canonical(folder, code) == last});
    };
    if (fs::is_directory(cases_folder, code))
        if (const auto list = list_cases(cases_folder))
            for (const auto& s : list.value()) add(fs::path{cases_folder} / s.folder, s);
    const bool listed = std::any_of(known.begin(), known.end(), [](const gui::KnownCase& k) { return k.last; });
    if (!listed && !last.empty() && fs::is_directory(last, code))
        if (const auto list = list_cases(last.string()); list && list.value().size() == 1)
            add(last, list.value().front());
    std::stable_sort(known.begin(), known.end(), [](const gui::KnownCase& a, const gui::KnownCase& b) {
        return a.last != b.last ? a.last : a.last_date > b.last_date;
    });
    return known;
}

}  // namespace idlehark
