#include "src/analysis/hiss_check.hpp"

#include "dsp/finding.hpp"
#include "src/analysis/in_parallel.hpp"
#include "src/analysis/listen.hpp"
#include "src/files/json_text.hpp"

#include <algorithm>
#include <cmath>
#include <functional>

#include <fmt/format.h>

namespace idlehark {

namespace {

constexpr std::size_t kFewestSpots = 4;

int rank(HissVerdict v) {
    switch (v) {
        case HissVerdict::stands_out:
            return 0;
        case HissVerdict::loud_steady:
        case HissVerdict::loud_open:
            return 1;
        case HissVerdict::undecided:
        case HissVerdict::ordinary:
            break;
    }
    return 2;
}

std::string spots_with(const HissView& view, const std::function<bool(HissVerdict)>& wanted) {
    std::string spots;
    for (const auto& r : view.rows)
        if (wanted(r.figures.verdict)) spots += (spots.empty() ? "" : ", ") + r.spot;
    return spots;
}
std::string spots_with(const HissView& view, HissVerdict verdict) {
    return spots_with(view, [verdict](HissVerdict v) { return v == verdict; });
}

/// The least level from which on a leak would have stood out at any spot; NaN if at none.
double reach_db(const HissView& view) {
    double most = std::nan("");
    for (const auto& r : view.rows) most = std::fmax(most, r.figures.least_db);
    return most;
}

std::string headline_of(const HissView& view) {
    if (std::none_of(view.rows.begin(), view.rows.end(),
                     [](const auto& r) { return std::isfinite(r.figures.level_db); }))
        return "Too few spots can be compared";
    if (const auto out = spots_with(view, HissVerdict::stands_out); !out.empty()) return "Hiss stands out at " + out;
    const auto loud = spots_with(view, [](HissVerdict v) { return finding(v) == Finding::shadowed; });
    return loud.empty() ? "No spot stands out" : "No spot stands out; louder than the others: " + loud;
}

void write_words(HissView& view) {
    view.headline = headline_of(view);
    bool unknown = false, uncompared = false;
    for (const auto& r : view.rows) {
        unknown = unknown || std::isnan(r.rpm);
        uncompared = uncompared || std::isnan(r.figures.gain_db);
    }
    if (const auto open = spots_with(view, HissVerdict::loud_open); !open.empty())
        view.notes.push_back(
            "louder than the others for sure, but whether the surplus swells with the firing is open: " + open +
            ". Look there too, and record again, longer and closer to the joint");
    if (const auto steady = spots_with(view, HissVerdict::loud_steady); !steady.empty())
        view.notes.push_back("louder, and the surplus is steady, by firing and by cycle: " + steady +
                             ". A fan, a belt or a charger sounds like that, and so may a leak whose flow is choked: "
                             "stop or cover what else hisses there and record again");
    if (const double db = reach_db(view); std::isfinite(db) && spots_with(view, HissVerdict::stands_out).empty())
        view.notes.push_back(
            fmt::format("no all-clear: a leak that makes its spot less than {:.0f} dB louder than the others may not "
                        "stand out here",
                        std::ceil(db)));
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
        case HissVerdict::loud_open:
            return "loud, open";
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
    text += fmt::format("{:<{}}  {:>8}  {:<16}  {:>9}  {:<16}  {:>5}  {:>7}  {:>7}  {:>8}  verdict\n", "spot", width,
                        "level dB", "95 % interval", "follow dB", "95 % interval", "depth", "gain dB", "p level",
                        "p follow");
    const auto range = [](double low, double high) {
        return std::isfinite(low) ? fmt::format("{:+.1f} to {:+.1f}", low, high) : std::string();
    };
    const auto one = [](double x, const char* none = "") {
        return std::isfinite(x) ? fmt::format("{:+.1f}", x) : std::string(none);
    };
    const auto chance = [](double p) { return p < 0.001 ? std::string("< 0.001") : fmt::format("{:.3f}", p); };
    for (const auto& r : view.rows) {
        const auto& f = r.figures;
        text += fmt::format("{:<{}}  {:>8}  {:<16}  {:>9}  {:<16}  {:>5}  {:>7}  {:>7}  {:>8}  {}\n", r.spot, width,
                            one(f.level_db), range(f.level_low_db, f.level_high_db), one(f.follow_db),
                            range(f.follow_low_db, f.follow_high_db),
                            std::isfinite(f.depth) ? fmt::format("{:.2f}", f.depth) : "", one(f.gain_db),
                            chance(f.p_level), chance(f.p_follow), word(f.verdict));
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
                                 {"least_db", json_number(f.least_db, 3)},
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
