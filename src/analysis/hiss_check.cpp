#include "src/analysis/hiss_check.hpp"

#include "src/analysis/in_parallel.hpp"
#include "src/analysis/listen.hpp"
#include "src/files/json_text.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace idlehark {

namespace {

constexpr std::size_t kFewestSpots = 4;

int rank(HissVerdict v) {
    switch (v) {
        case HissVerdict::stands_out:
            return 0;
        case HissVerdict::loud_steady:
            return 1;
        case HissVerdict::undecided:
        case HissVerdict::ordinary:
            break;
    }
    return 2;
}

void write_words(HissView& view) {
    std::string out, steady;
    bool unknown = false, uncompared = false;
    for (const auto& r : view.rows) {
        if (r.figures.verdict == HissVerdict::stands_out) out += (out.empty() ? "" : ", ") + r.spot;
        if (r.figures.verdict == HissVerdict::loud_steady) steady += (steady.empty() ? "" : ", ") + r.spot;
        unknown = unknown || std::isnan(r.rpm);
        uncompared = uncompared || std::isnan(r.figures.gain_db);
    }
    view.headline = out.empty() ? "No spot stands out" : "Hiss stands out at " + out;
    if (!steady.empty())
        view.notes.push_back("louder, but the surplus does not follow the firing: " + steady +
                             ". A fan, a belt or a charger sounds like that, and so may a leak whose flow is choked: "
                             "stop or cover what else hisses there and record again");
    if (view.rows.size() < kFewestSpots)
        view.notes.emplace_back("with fewer than four spots there is no floor to stand out of: probe more places");
    if (unknown)
        view.notes.emplace_back(
            "where the engine is not followed, a hiss cannot be told from a fan and nothing stands out");
    if (uncompared)
        view.notes.emplace_back(
            "recordings in which the engine's lines are not heard can't be compared: record all at one gain and say so "
            "with --gain declared");
    if (!view.declared)
        view.notes.emplace_back(
            "recordings are compared by the engine's own lines, which are not equally loud everywhere; at one fixed "
            "recording gain, --gain declared is sharper");
    view.notes.emplace_back("standing out is a reason to look there first, not proof of a leak");
    view.cautions.emplace_back(
        "keep hands, sleeves, leads and the probe clear of belts, of fans (they may start by themselves), of hot parts "
        "and of ignition leads");
}

struct Heard {
    SpotHiss hiss;
    bool any_sound = false;
    std::vector<std::string> warnings;
};

Result<Heard> hear(const HissRequest& request, const std::string& path) {
    std::optional<HissEar> ear;
    std::vector<RpmReading> readings;
    ListenSinks sinks;
    sinks.start = [&](double rate_hz) { ear.emplace(request.engine, rate_hz); };
    sinks.sound = [&](AudioView x) { ear->process(x); };
    sinks.readings = [&](std::span<const RpmReading> x) { readings.insert(readings.end(), x.begin(), x.end()); };
    const auto heard = listen_through({path, request.channel, request.engine, 0.1}, sinks);
    if (!heard) return heard.error();
    return Heard{ear->finish(readings), heard.value().peak > 0.0F, heard.value().warnings};
}

}  // namespace

std::variant<HissView, HissFailure> check_hiss(const HissRequest& request,
                                               const std::function<void(std::size_t)>& progress) {
    HissView view;
    view.engine = request.engine.name;
    view.declared = request.declared;
    auto all = in_parallel(
        request.recordings.size(), [&](std::size_t i) { return hear(request, request.recordings[i].path); },
        [](const Result<Heard>& heard) { return !heard; }, progress);
    std::vector<SpotHiss> spots;
    std::vector<double> gains;
    bool any_sound = false;
    for (std::size_t i = 0; i < all.size(); ++i) {
        if (!*all[i]) return HissFailure{all[i]->error()};
        auto& heard = all[i]->value();
        any_sound = any_sound || heard.any_sound;
        for (auto& w : heard.warnings) view.cautions.push_back(std::move(w));
        const auto& r = request.recordings[i];
        view.rows.push_back({r.spot, r.path, heard.hiss.rpm, {}});
        spots.push_back(std::move(heard.hiss));
        gains.push_back(r.gain_db);
    }
    if (!any_sound)
        return HissFailure{
            {"every recording is silent", "Was the microphone plugged in and not muted? Try --channel 2."}, true};
    const auto figures = survey_hiss(spots, request.declared ? gains : std::vector<double>{});
    for (std::size_t i = 0; i < figures.size(); ++i) view.rows[i].figures = figures[i];
    std::stable_sort(view.rows.begin(), view.rows.end(), [](const HissRow& a, const HissRow& b) {
        const auto level = [](const HissRow& r) {
            return std::isfinite(r.figures.level_db) ? r.figures.level_db : -1e9;
        };
        return std::pair{rank(a.figures.verdict), -level(a)} < std::pair{rank(b.figures.verdict), -level(b)};
    });
    write_words(view);
    return view;
}

std::string word(HissVerdict v) {
    switch (v) {
        case HissVerdict::stands_out:
            return "stands out";
        case HissVerdict::loud_steady:
            return "loud, steady";
        case HissVerdict::ordinary:
            return "ordinary";
        case HissVerdict::undecided:
            break;
    }
    return "undecided";
}

std::string hiss_table(const HissView& view) {
    std::string text = view.headline + "\n\n";
    std::size_t width = 4;
    for (const auto& r : view.rows) width = std::max(width, r.spot.size());
    text += fmt::format("{:<{}}  {:>8}  {:<16}  {:>9}  {:<16}  {:>5}  {:>7}  {:>7}  verdict\n", "spot", width,
                        "level dB", "95 % interval", "follow dB", "95 % interval", "depth", "gain dB", "p");
    const auto range = [](double low, double high) {
        return std::isfinite(low) ? fmt::format("{:+.1f} to {:+.1f}", low, high) : std::string();
    };
    const auto one = [](double x, const char* none = "") {
        return std::isfinite(x) ? fmt::format("{:+.1f}", x) : std::string(none);
    };
    for (const auto& r : view.rows) {
        const auto& f = r.figures;
        text += fmt::format("{:<{}}  {:>8}  {:<16}  {:>9}  {:<16}  {:>5}  {:>7}  {:>7}  {}\n", r.spot, width,
                            one(f.level_db), range(f.level_low_db, f.level_high_db), one(f.follow_db),
                            range(f.follow_low_db, f.follow_high_db),
                            std::isfinite(f.depth) ? fmt::format("{:.2f}", f.depth) : "", one(f.gain_db),
                            f.p_level < 0.001 ? "< 0.001" : fmt::format("{:.3f}", f.p_level), word(f.verdict));
    }
    text += "\n";
    for (const auto& c : view.cautions) text += "caution: " + c + "\n";
    for (const auto& n : view.notes) text += "note: " + n + "\n";
    return text;
}

std::string hiss_json(const HissView& view) {
    Json json{
        {"gain_from", view.declared ? "declared" : "lines"}, {"summary", view.headline}, {"spots", Json::array()}};
    for (const auto& r : view.rows) {
        const auto& f = r.figures;
        json["spots"].push_back({{"spot", r.spot},
                                 {"level_db", json_number(f.level_db, 3)},
                                 {"level_low_db", json_number(f.level_low_db, 3)},
                                 {"level_high_db", json_number(f.level_high_db, 3)},
                                 {"follow_db", json_number(f.follow_db, 3)},
                                 {"follow_low_db", json_number(f.follow_low_db, 3)},
                                 {"follow_high_db", json_number(f.follow_high_db, 3)},
                                 {"depth", json_number(f.depth, 3)},
                                 {"gain_db", json_number(f.gain_db, 3)},
                                 {"p_level", f.p_level},
                                 {"p_follow", f.p_follow},
                                 {"rpm", json_number(r.rpm, 3)},
                                 {"verdict", word(f.verdict)}});
    }
    json["cautions"] = view.cautions;
    json["notes"] = view.notes;
    return json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace idlehark
