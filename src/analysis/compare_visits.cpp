#include "src/analysis/compare_visits.hpp"

#include "dsp/compare/spot_pair.hpp"
#include "dsp/statistics.hpp"
#include "src/files/text_file.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <initializer_list>
#include <limits>
#include <numeric>
#include <string_view>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace idlehark {

namespace {

constexpr double kAdvised_s = 30.0;
constexpr double kWarming_rpm_per_min = -12.0;  // a falling idle: the engine still warms up ...
constexpr double kWarmingTells_s = 45.0;        // ... or hunts slowly: a shorter recording cannot tell,
constexpr double kNoHunting_rpm = 80.0;         // unless it falls this far
constexpr double kCold_share = 1.15;            // of the handbook's highest idle speed
constexpr double kLevelsApart_db = 6.0;
constexpr std::size_t kLeastLines = 5;  // common to both recordings, to make their levels comparable
// What placing a probe or a microphone anew changes (common practice, no source; the hiss also from simulated engines
// heard through other reflections). A small share of half orders is anything from another place.
constexpr double kHalfOrderVisit_ln = 0.5, kHalfOrderVisit_share = 0.02, kHalfOrderWidest_ln = 1.5;
constexpr double kHissVisit_db = 5.0;
constexpr double kHissRecording_db = 0.5;
constexpr double kClickLevelVisit_db = 2.0;
constexpr double kClickLevelRecording_db = 0.5;
constexpr double kJitterVisit_ln = 0.15;
constexpr double kJitterKurtosis = 1.5;  // clicks scatter with longer tails than a normal distribution
constexpr double kOpenVisit_ms = 0.05;
constexpr double kMissedVisit_percent = 0.5;
constexpr double kFewBursts_p = 0.01;  // one or two bursts without an answer
constexpr const char* kMissedClicks = "missed clicks";

struct Question {
    CompareRow row;
    FigurePair pair;
    double most = std::numeric_limits<double>::infinity();  // that the figure can be
};

Question question(std::string figure, std::string unit, const FigurePair& pair) {
    Question q;
    q.row.figure = std::move(figure);
    q.row.unit = std::move(unit);
    q.row.before = pair.before.value;
    q.row.after = pair.after.value;
    q.pair = pair;
    return q;
}

std::optional<Error> other_engine(const Engine& a, const Engine& b) {
    const auto differ = [](const std::string& what) {
        return Error{"before and after are different engines: " + what,
                     "Only two visits to one engine can be compared; check the engine files."};
    };
    if (a.cylinders != b.cylinders) return differ(fmt::format("{} and {} cylinders", a.cylinders, b.cylinders));
    if (a.strokes != b.strokes) return differ(fmt::format("{}- and {}-stroke", a.strokes, b.strokes));
    if (firing_fractions(a) != firing_fractions(b)) return differ("their firing angles");
    if (!a.firing_order.empty() && !b.firing_order.empty() && a.firing_order != b.firing_order)
        return differ("their firing orders");
    return {};
}

bool falls(const HeardVisit& v) {
    const auto& i = v.idle;
    return i.drift_rpm_per_min < kWarming_rpm_per_min && -i.drift_rpm_per_min > 3.0 * i.drift_sd;
}
bool is_cold(const HeardVisit& v) {
    const double fall_rpm = -v.idle.drift_rpm_per_min * v.heard.length_s / 60.0;
    return (falls(v) && (v.heard.length_s >= kWarmingTells_s || fall_rpm > kNoHunting_rpm)) ||
           v.idle.speed_rpm.value > kCold_share * v.request.listen.engine.idle_high_rpm;
}

std::string name_of(const HeardVisit& v) {
    return v.request.name.empty() ? file_name(v.request.listen.path) : v.request.name;
}

std::string ending(const std::string& path) {
    const auto dot = path.rfind('.');
    std::string text = dot == std::string::npos ? "" : path.substr(dot + 1);
    std::transform(text.begin(), text.end(), text.begin(),
                   [](unsigned char c) { return static_cast<char>(tolower(c)); });
    return text;
}
bool is_lossless(const HeardVisit& v) {
    const auto e = ending(v.request.listen.path);
    return e == "wav" || e == "flac" || e == "aiff" || e == "aif";
}

/// Says what keeps the two from being compared like with like; true if even their hiss may be.
bool add_cautions(const HeardVisit& before, const HeardVisit& after, CompareView& view) {
    for (const auto* v : {&before, &after})
        for (const auto& w : v->heard.warnings) view.cautions.push_back(w);
    for (const auto* v : {&before, &after})
        if (v->idle.heard_s < kAdvised_s)
            view.cautions.push_back(
                fmt::format("{}: only {:.0f} s of quiet idle are heard; with {:.0f} s and more the "
                            "intervals become narrower",
                            name_of(*v), v->idle.heard_s, kAdvised_s));
    for (const auto* v : {&before, &after})
        if (falls(*v) && !is_cold(*v))
            view.cautions.push_back(
                fmt::format("{}: the idle falls by {:.0f} rpm a minute, as a cold engine's does or one's that hunts "
                            "slowly; a recording of a minute tells which",
                            name_of(*v), -v->idle.drift_rpm_per_min));
    const auto& eb = before.request.listen.engine;
    const auto& ea = after.request.listen.engine;
    if (eb.idle_low_rpm != ea.idle_low_rpm || eb.idle_high_rpm != ea.idle_high_rpm)
        view.cautions.emplace_back("the two engine files state different idle ranges; the one before is used");
    if (eb.injection != ea.injection || eb.idle_control != ea.idle_control)
        view.cautions.emplace_back("the two engine files differ in injection or idle control");
    if (eb.idle_control == IdleControl::regulated)
        view.cautions.emplace_back(
            "the idle is regulated: its valve hides changes of speed, so \"no proven change\" says little here");
    bool hiss = true;
    if (before.request.gain != after.request.gain)
        view.cautions.push_back(
            fmt::format("recorded at different gains (\"{}\" and \"{}\"): levels are compared by "
                        "the engine's own lines",
                        before.request.gain, after.request.gain));
    if (!before.device.empty() && !after.device.empty() && before.device != after.device) {
        view.cautions.push_back(
            fmt::format("recorded with different devices (\"{}\" and \"{}\"): half orders depend "
                        "on the microphone, and the hiss is not compared",
                        before.device, after.device));
        hiss = false;
    }
    if (before.heard.sample_rate_hz != after.heard.sample_rate_hz || is_lossless(before) != is_lossless(after)) {
        view.cautions.emplace_back("recorded at different sample rates or codings: the hiss is not compared");
        hiss = false;
    } else if (!is_lossless(before)) {
        view.notes.emplace_back("lossy coding removes hiss: it is not compared");
        hiss = false;
    }
    return hiss;
}

/// Level above 2.5 kHz over the engine's own lines: those that both recordings show, so that gain and distance drop
/// out.
std::optional<FigurePair> hiss_pair(const HeardVisit& before, const HeardVisit& after, CompareView& view) {
    const auto& a = before.hiss;
    const auto& b = after.hiss;
    std::vector<double> lines_a, lines_b, apart;
    for (std::size_t i = 0; i < std::min(a.lines_db.size(), b.lines_db.size()); ++i)
        if (std::isfinite(a.lines_db[i]) && std::isfinite(b.lines_db[i])) {
            lines_a.push_back(a.lines_db[i]);
            apart.push_back(b.lines_db[i] - a.lines_db[i]);
        }
    if (lines_a.size() < kLeastLines || a.bands.empty() || b.bands.empty()) {
        view.notes.emplace_back(
            "the hiss is not compared: the recordings reach too little above 2.5 kHz, or too few of the engine's "
            "lines stand out in both");
        return {};
    }
    const double gain_db = stats::median(apart);
    if (std::fabs(gain_db) > kLevelsApart_db)
        view.cautions.push_back(
            fmt::format("the recording after is {:.0f} dB {}: another gain or another distance; "
                        "levels are compared by the engine's own lines",
                        std::fabs(gain_db), gain_db > 0.0 ? "louder" : "softer"));
    const auto level_db = [](const SpotHiss& h, std::size_t bands) {
        double power = 0.0;
        for (std::size_t k = 0; k < bands; ++k)
            power += std::accumulate(h.bands[k].whole.begin(), h.bands[k].whole.end(), 0.0);
        return 10.0 * std::log10(power / static_cast<double>(SpotHiss::kPlaces));
    };
    const auto bands = std::min(a.bands.size(), b.bands.size());
    const double base_db = stats::median(lines_a);
    const double before_db = level_db(a, bands) - base_db;
    const double after_db = level_db(b, bands) - base_db - gain_db;
    const double lines_sd = stats::kMadToSd * stats::median_absolute_deviation(apart) * 1.2533 /
                            std::sqrt(static_cast<double>(apart.size()));  // of a median
    const double sd = std::hypot(kHissRecording_db, lines_sd / std::sqrt(2.0));
    return FigurePair{{before_db, sd, kHissVisit_db}, {after_db, sd, kHissVisit_db}};
}

/// Spots in the map's order, then those that only the marks name, in order of mention.
std::vector<SpraySpot> spots_of(const HeardVisit& before, const HeardVisit& after, const std::optional<BayMap>& map) {
    std::vector<SpraySpot> spots;
    if (map)
        for (const auto& s : map->spots) spots.push_back({.id = s.spot, .place = Place{s.x_mm, s.y_mm}});
    for (const auto* v : {&before, &after})
        for (const auto& id : v->burst_spots)
            if (std::none_of(spots.begin(), spots.end(), [&](const SpraySpot& s) { return s.id == id; }))
                spots.push_back({.id = id, .place = {}});
    return spots;
}

void add_spots(const HeardVisit& before, const HeardVisit& after, const std::optional<BayMap>& map, CompareView& view,
               std::vector<Question>& questions) {
    if (before.bursts.empty() && after.bursts.empty()) return;
    if (before.bursts.empty() || after.bursts.empty()) {
        view.notes.push_back(fmt::format("spots are not compared: {} has no spray test (no marks)",
                                         name_of(before.bursts.empty() ? before : after)));
        return;
    }
    const auto spots = spots_of(before, after, map);
    const auto idle_control = before.request.listen.engine.idle_control;
    std::array<std::vector<SprayBurst>, 2> bursts;
    std::array<std::vector<char>, 2> answers, sprayed;
    for (std::size_t k = 0; k < 2; ++k) {
        const auto& v = k == 0 ? before : after;
        bursts[k] = v.bursts;
        for (std::size_t i = 0; i < bursts[k].size(); ++i)
            bursts[k][i].spot = static_cast<std::size_t>(
                std::find_if(spots.begin(), spots.end(), [&](const SpraySpot& s) { return s.id == v.burst_spots[i]; }) -
                spots.begin());
        for (const auto& s : spots) {
            const auto among = [&](const std::vector<std::string>& list) {
                return static_cast<char>(std::find(list.begin(), list.end(), s.id) != list.end());
            };
            answers[k].push_back(among(v.answering));
            sprayed[k].push_back(among(v.burst_spots));
        }
    }
    const auto pairs =
        spot_pairs({before.readings, bursts[0], answers[0]}, {after.readings, bursts[1], answers[1]}, idle_control);
    std::vector<std::string> one_side, few;
    bool quiet = false;
    for (std::size_t s = 0; s < spots.size(); ++s) {
        if (sprayed[0][s] != sprayed[1][s]) one_side.push_back(spots[s].id);
        if (!sprayed[0][s] || !sprayed[1][s]) continue;
        auto q = question("spot " + spots[s].id, "rpm", pairs[s]);
        if (const auto* on_map = map ? map->find(spots[s].id) : nullptr) q.row.name = on_map->name;
        quiet = quiet || !pairs[s].asked;
        if (pairs[s].p_otherwise > kFewBursts_p) few.push_back(spots[s].id);
        questions.push_back(std::move(q));
    }
    if (!one_side.empty())
        view.notes.push_back(fmt::format("sprayed on one visit only, so not compared: {}", fmt::join(one_side, ", ")));
    if (!few.empty())
        view.notes.push_back(fmt::format(
            "so few bursts may all have missed on the visit that shows no answer: {}; three or more on each "
            "visit prove a repair",
            fmt::join(few, ", ")));
    if (quiet)
        view.notes.emplace_back(
            "a change is only asked of spots that one of the two spray tests proves to answer; the others are shown "
            "with their intervals");
}

void add_injectors(const HeardVisit& before, const HeardVisit& after, CompareView& view,
                   std::vector<Question>& questions) {
    if (!before.injectors && !after.injectors) return;
    if (!before.injectors || !after.injectors) {
        view.notes.emplace_back("injectors are not compared: they were recorded on one visit only");
        return;
    }
    std::vector<double> opens;
    for (const auto* set : {&*before.injectors, &*after.injectors})
        for (const auto& r : set->injectors)
            if (r.reading.verdict == InjectorVerdict::regular && std::isfinite(r.reading.open_close_ms))
                opens.push_back(r.reading.open_close_ms);
    const double usual_ms = opens.empty() ? 0.0 : stats::median(opens);
    for (const auto& row : before.injectors->injectors) {
        const auto& b = row.reading;
        const auto& set = after.injectors->injectors;
        const auto at = std::find_if(set.begin(), set.end(),
                                     [&](const InjectorRow& r) { return r.reading.cylinder == b.cylinder; });
        if (at == set.end()) {
            view.notes.push_back(fmt::format("injector {} was recorded before only", b.cylinder));
            continue;
        }
        const auto& a = at->reading;
        const auto either = [&](std::initializer_list<InjectorVerdict> verdicts) {
            return std::any_of(verdicts.begin(), verdicts.end(),
                               [&](InjectorVerdict v) { return a.verdict == v || b.verdict == v; });
        };
        const bool misses = either({InjectorVerdict::missing_clicks, InjectorVerdict::silent});
        const bool differs = either({InjectorVerdict::differs});
        const auto add = [&](const char* what, const char* unit, auto measured, FigureScale scale, Wish wish,
                             double target) {
            const bool asked = std::string_view{what} == kMissedClicks ? misses : differs;
            auto q = question(fmt::format("injector {}, {}", b.cylinder, what), unit,
                              {measured(b), measured(a), scale, wish, target, target, asked});
            if (std::isfinite(q.row.before) || std::isfinite(q.row.after)) questions.push_back(std::move(q));
        };
        const auto clicks = [](const InjectorReading& r) { return std::max(2.0, double(r.due - r.missed)); };
        add(
            kMissedClicks, "%",
            [&](const InjectorReading& r) {
                if (r.verdict == InjectorVerdict::silent) return FigureValue{100.0, 0.5, kMissedVisit_percent};
                // Of the interval the side counts that points to the other visit (R. G. Newcombe, Statistics in
                // Medicine 17 (1998) 873, method 10).
                const auto& other = &r == &a ? b : a;
                const double side = other.missed_percent < r.missed_percent ? r.missed_percent - r.missed_low_percent
                                                                            : r.missed_high_percent - r.missed_percent;
                return FigureValue{r.missed_percent, side / stats::kTwoSided95, kMissedVisit_percent};
            },
            FigureScale::plain, Wish::less, 0.0);
        add(
            "jitter", "µs",
            [&](const InjectorReading& r) {
                return r.jitter_us > 0.0
                           ? FigureValue{r.jitter_us, kJitterKurtosis / std::sqrt(2.0 * clicks(r)), kJitterVisit_ln}
                           : FigureValue{};
            },
            FigureScale::ratio, Wish::less, 0.0);
        add(
            "opening to closing", "ms",
            [&](const InjectorReading& r) {
                return FigureValue{r.open_close_ms, std::sqrt(2.0) * 1e-3 * r.jitter_us / std::sqrt(clicks(r)),
                                   kOpenVisit_ms};
            },
            FigureScale::plain, Wish::in_range, usual_ms);
        add(
            "level in the set", "dB",
            [](const InjectorReading& r) {
                return FigureValue{r.level_db, kClickLevelRecording_db, kClickLevelVisit_db};
            },
            FigureScale::plain, Wish::nearer_zero, 0.0);
    }
}

FigurePair half_orders_in_percent(const FigureValue& before, const FigureValue& after) {
    const auto percent = [](FigureValue m) {
        m.visit_sd = std::min(kHalfOrderWidest_ln, std::hypot(kHalfOrderVisit_ln, kHalfOrderVisit_share / m.value));
        m.value *= 100.0;
        return m;
    };
    return {percent(before), percent(after), FigureScale::ratio, Wish::less};
}

}  // namespace

std::variant<CompareView, VisitFailure> compare_heard(const HeardVisit& before, const HeardVisit& after,
                                                      const std::optional<BayMap>& map, bool anyway) {
    const auto& engine = before.request.listen.engine;
    if (const auto other = other_engine(engine, after.request.listen.engine)) return VisitFailure{*other};
    for (const auto* v : {&before, &after})
        if (!std::isfinite(v->idle.speed_rpm.value))
            return VisitFailure{{fmt::format("{}: too little idle can be followed to compare it with anything: 10 s "
                                             "are needed, 30 s and more are better",
                                             v->request.listen.path),
                                 "Record again, longer, with the microphone nearer to the engine."},
                                true};
    CompareView view;
    view.engine = engine.name;
    view.before = name_of(before);
    view.after = name_of(after);
    if (is_cold(before) != is_cold(after)) {
        const auto& cold = is_cold(before) ? before : after;
        const auto drift = std::isfinite(cold.idle.drift_rpm_per_min)
                               ? fmt::format(", {:+.0f} rpm a minute", cold.idle.drift_rpm_per_min)
                               : "";
        const auto what =
            fmt::format("{}: the idle is like a cold engine's ({:.0f} rpm{}), the other like a warm one's",
                        cold.request.listen.path, cold.idle.speed_rpm.value, drift);
        if (!anyway)
            return VisitFailure{
                {what, "Compare warm with warm: record again once it is warm. --anyway compares all the same."},
                true,
                true};
        view.cautions.push_back(what + "; differences say little about a repair");
    } else if (is_cold(before)) {
        view.cautions.emplace_back("both idles are like a cold engine's: they fall, or are far above the stated range");
    }
    const bool hiss_comparable = add_cautions(before, after, view);

    std::vector<Question> questions;
    FigurePair speed{before.idle.speed_rpm, after.idle.speed_rpm, FigureScale::plain, Wish::in_range};
    speed.range_low = engine.idle_low_rpm;
    speed.range_high = engine.idle_high_rpm;
    questions.push_back(question("idle speed", "rpm", speed));
    const double lowest = engine.idle_low_rpm, highest = engine.idle_high_rpm;
    if (const double rpm = speed.after.value; rpm < lowest)
        view.notes.push_back(fmt::format(
            "the idle after, {:.0f} rpm, is below its stated range of {:.0f} to {:.0f} rpm", rpm, lowest, highest));
    else if (rpm > highest)
        view.notes.push_back(fmt::format(
            "the idle after, {:.0f} rpm, is above its stated range of {:.0f} to {:.0f} rpm", rpm, lowest, highest));
    questions.push_back(
        question("hunting", "rpm", {before.idle.hunting_rpm, after.idle.hunting_rpm, FigureScale::ratio}));
    questions.push_back(question("wander", "rpm", {before.idle.wander_rpm, after.idle.wander_rpm, FigureScale::ratio}));
    if (std::isfinite(before.half_orders.value) && std::isfinite(after.half_orders.value)) {
        questions.push_back(
            question("half orders", "%", half_orders_in_percent(before.half_orders, after.half_orders)));
        questions.back().most = 100.0;
    }
    if (hiss_comparable)
        if (const auto pair = hiss_pair(before, after, view)) questions.push_back(question("hiss", "dB", *pair));
    add_spots(before, after, map, view, questions);
    add_injectors(before, after, view, questions);

    std::vector<FigurePair> pairs;
    pairs.reserve(questions.size());
    for (const auto& q : questions) pairs.push_back(q.pair);
    const auto changes = compare_figures(pairs);
    for (std::size_t i = 0; i < questions.size(); ++i) {
        questions[i].row.change = changes[i];
        auto& high = questions[i].row.change.high;
        if (high > questions[i].most - questions[i].row.before) high = questions[i].most - questions[i].row.before;
        view.rows.push_back(std::move(questions[i].row));
    }
    view.notes.emplace_back(
        "\"no proven change\" is not \"unchanged\": the interval says how large a change may have gone unseen");
    return view;
}

std::variant<CompareView, VisitFailure> compare_visits(const CompareRequest& request, const ListenSinks& sinks) {
    if (const auto other = other_engine(request.before.listen.engine, request.after.listen.engine))
        return VisitFailure{*other};
    const std::uint64_t visits = (request.heard_before ? 0U : 1U) + (request.heard_after ? 0U : 1U);
    const auto hear = [&](const VisitRequest& visit, const std::optional<HeardVisit>& heard, std::uint64_t behind) {
        if (heard) return std::variant<HeardVisit, VisitFailure>{*heard};
        auto part = sinks;
        if (sinks.progress)
            part.progress = [&, behind](std::uint64_t done, std::uint64_t total) {
                sinks.progress(behind * total + done, visits * total);
            };
        return hear_visit(visit, part);
    };
    const auto before = hear(request.before, request.heard_before, 0);
    if (const auto* failure = std::get_if<VisitFailure>(&before)) return *failure;
    const auto after = hear(request.after, request.heard_after, visits - 1);
    if (const auto* failure = std::get_if<VisitFailure>(&after)) return *failure;
    return compare_heard(std::get<HeardVisit>(before), std::get<HeardVisit>(after), request.map, request.anyway);
}

}  // namespace idlehark
