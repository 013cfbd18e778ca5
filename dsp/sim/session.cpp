#include "dsp/sim/session.hpp"

#include "dsp/leak_flow.hpp"
#include "dsp/sim/random.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>
#include <stdexcept>

namespace idlehark::sim {

namespace {

// Bay layout, invented: cylinder pitch as on small engines, seals just above their gaskets.
constexpr double kCylinderPitch_mm = 90.0;
constexpr double kSealDistance_mm = 45.0;
constexpr double kRowX_mm = 120.0;
constexpr double kRowY_mm = 180.0;
constexpr double kClosest_mm = 40.0;
constexpr double kBayHeight_mm = 520.0;

constexpr double kSteadyCalibration_s = 6.0;  // long enough to scale what does not change; talk and tunes need longer
constexpr double kIdleAir_kg_per_s = 4.2e-3;  // two litres, 800 rpm, 35 kPa, 310 K, volumetric efficiency 0.8
constexpr double kIdleManifold_pa = 35e3;
constexpr double kSharpEdge = 0.6;
constexpr double kRpmPerAirShare = 150.0;  // invented

double distance_mm(const BaySpot& a, const BaySpot& b) { return std::hypot(a.x_mm - b.x_mm, a.y_mm - b.y_mm); }

void spray_in_blocks(const SessionSpec& spec, std::vector<SessionBurst>& bursts, std::vector<SessionMark>& marks) {
    auto order = sub_stream(spec.seed, "order");
    auto hands = sub_stream(spec.seed, "hands");
    auto noting = sub_stream(spec.seed, "marks");
    std::vector<std::size_t> block(spec.spots.size());
    std::iota(block.begin(), block.end(), std::size_t{0});
    double t = spec.quiet_start_s;
    for (int b = 0; b < spec.bursts_per_spot; ++b) {
        std::shuffle(block.begin(), block.end(), order);
        for (const std::size_t spot : block) {
            const auto& h = spec.hands;
            constexpr double kLeast = 0.2;  // a burst is never shorter, or weaker, than this share
            const double length = std::max(kLeast, 1.0 + h.duration_spread * gaussian(hands));
            const double amount = std::max(kLeast, 1.0 + h.amount_spread * gaussian(hands));
            const bool missed = uniform(hands, 0.0, 1.0) < h.miss_probability;
            bursts.push_back({t, h.burst_duration_s * length, spot, missed ? 0.0 : amount});
            marks.push_back({std::max(0.0, t + h.mark_error_s * gaussian(noting)), spot});
            t += spec.spacing_s;
        }
    }
}

SpeedPath make_path(const SessionSpec& spec, const std::vector<SessionBurst>& bursts) {
    SpeedPathSpec idle = spec.idle;
    idle.strokes = spec.engine.engine.strokes;
    idle.duration_s = spec.quiet_start_s + spec.spacing_s * static_cast<double>(bursts.size()) + spec.quiet_end_s;
    for (const auto& b : bursts) {
        double change = spec.leak_rpm[b.spot];
        for (std::size_t other = 0; other < spec.spots.size(); ++other)
            if (other != b.spot && distance_mm(spec.spots[other], spec.spots[b.spot]) <= spec.hands.reach_mm)
                change += spec.hands.overspray_share * spec.leak_rpm[other];
        if (change * b.amount != 0.0) idle.bursts.push_back({b.time_s, b.duration_s, change * b.amount, spec.shape});
    }
    return SpeedPath(idle);
}

SessionSpec checked(const SessionSpec& spec) {
    if (spec.spots.empty()) throw std::invalid_argument("spots: none");
    if (spec.leak_rpm.size() != spec.spots.size())
        throw std::invalid_argument("leak_rpm: " + std::to_string(spec.leak_rpm.size()) + " values for " +
                                    std::to_string(spec.spots.size()) + " spots");
    return spec;
}

}  // namespace

std::vector<BaySpot> draw_bay(const Engine& engine, int spots, std::uint64_t seed) {
    auto random = sub_stream(seed, "bay");
    std::vector<BaySpot> bay;
    const auto add = [&](std::string name, std::string kind, double x, double y, std::optional<int> cylinder) {
        if (static_cast<int>(bay.size()) < spots)
            bay.push_back({std::to_string(bay.size() + 1), std::move(name), std::move(kind), x, y, cylinder});
    };
    for (int c = 1; c <= engine.cylinders; ++c)
        add("intake gasket, cylinder " + std::to_string(c), "gasket", kRowX_mm + kCylinderPitch_mm * (c - 1), kRowY_mm,
            c);
    for (int c = 1; c <= engine.cylinders; ++c)
        add("injector seal, cylinder " + std::to_string(c), "injector seal", kRowX_mm + kCylinderPitch_mm * (c - 1),
            kRowY_mm - kSealDistance_mm, c);
    struct Loose {
        const char* name;
        const char* kind;
    };
    constexpr std::array<Loose, 8> kLoose{{{"throttle body gasket", "gasket"},
                                           {"throttle shaft", "shaft"},
                                           {"brake booster hose", "hose"},
                                           {"crankcase breather hose", "hose"},
                                           {"plenum gasket", "gasket"},
                                           {"idle valve hose", "hose"},
                                           {"pressure regulator hose", "hose"},
                                           {"cold start valve gasket", "gasket"}}};
    const double width = 2.0 * kRowX_mm + kCylinderPitch_mm * (engine.cylinders - 1);
    for (std::size_t i = 0; static_cast<int>(bay.size()) < spots; ++i) {
        BaySpot place;
        constexpr int kTries = 200;  // a crowded bay has to accept a close pair
        for (int tries = 0; tries < kTries; ++tries) {
            place.x_mm = uniform(random, 30.0, width - 30.0);
            place.y_mm = uniform(random, kRowY_mm + kClosest_mm, kBayHeight_mm);
            if (std::none_of(bay.begin(), bay.end(),
                             [&](const BaySpot& b) { return distance_mm(b, place) < kClosest_mm; }))
                break;
        }
        const auto& loose = kLoose[i % kLoose.size()];
        const std::string turn = i < kLoose.size() ? "" : ", end " + std::to_string(i / kLoose.size() + 1);
        add(loose.name + turn, loose.kind, std::round(place.x_mm), std::round(place.y_mm), std::nullopt);
    }
    return bay;
}

double leak_rpm_from_hole(double diameter_mm) {
    const double leak = hole_mass_flow_kg_per_s(hole_area_m2(diameter_mm), kSharpEdge, kIdleManifold_pa);
    return kRpmPerAirShare * leak / kIdleAir_kg_per_s;
}

Session::Session(const SessionSpec& spec)
    : spec_(checked(spec)), path_([this] {
          spray_in_blocks(spec_, bursts_, marks_);
          SpeedPath path = make_path(spec_, bursts_);
          // Noted times may overtake each other only if the error is as large as the spacing; bursts follow the marks.
          std::stable_sort(marks_.begin(), marks_.end(),
                           [](const auto& a, const auto& b) { return a.time_s < b.time_s; });
          return path;
      }()) {}

std::unique_ptr<Mix> mix_without_can(const SessionSpec& spec, const SpeedPath& path) {
    const double rate_hz = spec.engine.sample_rate_hz;
    const double changing_s = std::min(Mix::kCalibration_s, spec.quiet_start_s);
    const double steady_s = std::min(kSteadyCalibration_s, spec.quiet_start_s);
    auto mix = std::make_unique<Mix>(std::make_unique<EngineSound>(spec.engine, path));
    const auto add = [&](const auto& disturber, double snr_db, const char* name, double calibration_s) {
        if (std::isfinite(snr_db))
            mix->add_at_snr(make_source(disturber, rate_hz, sub_seed(spec.seed, name)), snr_db, Mix::kHeardBand,
                            calibration_s);
    };
    const auto& s = spec.sound;
    add(NoiseSpec{NoiseColour::pink}, s.background_snr_db, "background", steady_s);
    add(s.fan, s.fan_snr_db, "fan", steady_s);
    add(s.hum, s.hum_snr_db, "hum", steady_s);
    add(s.speech, s.speech_snr_db, "speech", changing_s);
    add(s.music, s.music_snr_db, "music", changing_s);
    return mix;
}

std::unique_ptr<Source> Session::sound() const {
    auto mix = mix_without_can(spec_, path_);
    SprayCanSpec can;
    for (const auto& b : bursts_) can.sprays.push_back({b.time_s, b.duration_s, 1.0});
    if (std::isfinite(spec_.sound.hiss_level_db))
        add_spray_can(*mix, can, spec_.sound.hiss_level_db, sub_seed(spec_.seed, "can"),
                      std::min(kSteadyCalibration_s, spec_.quiet_start_s));
    return through_microphone(std::move(mix), spec_.sound.microphone);
}

EngineSoundSpec draw_engine(std::uint64_t seed, double sample_rate_hz) {
    auto random = sub_stream(seed, "engine");
    constexpr std::array kCylinders{3, 4, 4, 5, 6, 8};  // fours are the commonest
    EngineSoundSpec spec;
    spec.sample_rate_hz = sample_rate_hz;
    spec.seed = sub_seed(seed, "engine sound");
    spec.engine.cylinders =
        kCylinders[std::min(static_cast<std::size_t>(uniform(random, 0.0, kCylinders.size())), kCylinders.size() - 1)];
    spec.engine.name = "simulated " + std::to_string(spec.engine.cylinders) + " cylinder";
    spec.engine.idle_low_rpm = 500.0;
    spec.engine.idle_high_rpm = 1200.0;
    for (int c = 0; c < spec.engine.cylinders; ++c)
        spec.cylinder_strengths.push_back(std::max(0.5, 1.0 + 0.08 * gaussian(random)));
    spec.strength_scatter = uniform(random, 0.1, 0.25);
    spec.timing_scatter_deg = uniform(random, 1.0, 2.5);
    spec.reflections = uniform(random, 0.5, 1.3);
    spec.low_db += 3.0 * gaussian(random);
    spec.valve_db += 3.0 * gaussian(random);
    spec.injector_db += 3.0 * gaussian(random);
    spec.flow_db += 2.5 * gaussian(random);
    return spec;
}

SessionSpec plain_session(std::uint64_t seed, const std::vector<double>& leaks_rpm, int spots, double sample_rate_hz) {
    SessionSpec spec;
    spec.seed = seed;
    spec.engine = draw_engine(seed, sample_rate_hz);
    spec.spots = draw_bay(spec.engine.engine, spots, seed);
    if (leaks_rpm.size() > spec.spots.size()) throw std::invalid_argument("leaks_rpm: more leaks than spots");
    auto random = sub_stream(seed, "session");
    std::vector<std::size_t> places(spec.spots.size());
    std::iota(places.begin(), places.end(), std::size_t{0});
    std::shuffle(places.begin(), places.end(), random);
    spec.leak_rpm.assign(spec.spots.size(), 0.0);
    for (std::size_t i = 0; i < leaks_rpm.size(); ++i) spec.leak_rpm[places[i]] = leaks_rpm[i];
    spec.quiet_start_s = uniform(random, 20.0, 30.0);
    spec.shape = {uniform(random, 0.5, 1.5), uniform(random, 0.3, 1.0), uniform(random, 2.5, 6.0)};
    spec.idle.seed = sub_seed(seed, "idle");
    spec.idle.mean_rpm = uniform(random, 650.0, 1000.0);
    spec.idle.hunting_rpm = uniform(random, 0.0, 7.0);
    spec.idle.hunting_period_s = uniform(random, 2.5, 9.0);
    spec.idle.wander_rpm = uniform(random, 2.5, 4.0);
    spec.idle.random_walk_rpm = uniform(random, 0.1, 0.4);
    spec.idle.drift_rpm_per_s = uniform(random, -0.03, 0.01);
    spec.sound.background_snr_db = uniform(random, 6.0, 15.0);
    spec.sound.hiss_level_db = uniform(random, 0.0, 10.0);
    return spec;
}

SessionSpec disturbed_session(std::uint64_t seed, const std::vector<double>& leaks_rpm, int spots,
                              double sample_rate_hz) {
    SessionSpec spec = plain_session(seed, leaks_rpm, spots, sample_rate_hz);
    auto random = sub_stream(seed, "disturbances");
    spec.hands.amount_spread = 0.25;
    spec.hands.miss_probability = 0.1;
    spec.hands.mark_error_s = 0.4;
    spec.hands.overspray_share = 0.3;
    spec.idle.warm_up_rpm = uniform(random, 0.0, 40.0);
    spec.idle.warm_up_time_s = uniform(random, 60.0, 200.0);
    spec.idle.natural_steps_per_min = 0.3;
    const double length_s = spec.spacing_s * spec.bursts_per_spot * spots + spec.quiet_start_s;
    const double fan_rpm = -uniform(random, 8.0, 25.0);
    for (double t = uniform(random, 30.0, 120.0); t < length_s;) {  // the cooling fan comes and goes
        const double on_s = uniform(random, 15.0, 40.0);
        spec.idle.loads.push_back({t, fan_rpm, uniform(random, 0.3, 1.0), t + on_s});
        t += on_s + uniform(random, 60.0, 150.0);
    }
    for (double t = uniform(random, 60.0, 240.0); t < length_s; t += uniform(random, 120.0, 300.0))  // the idle valve
        spec.idle.loads.push_back({t, uniform(random, 6.0, 15.0) * (uniform(random, 0.0, 1.0) < 0.5 ? -1.0 : 1.0),
                                   uniform(random, 0.3, 1.5), std::numeric_limits<double>::infinity()});
    spec.sound.background_snr_db = uniform(random, 0.0, 10.0);
    spec.sound.fan.shaft_hz = uniform(random, 25.0, 45.0);
    spec.sound.fan_snr_db = uniform(random, 0.0, 12.0);
    return spec;
}

std::vector<double> draw_leaks(std::uint64_t seed) {
    auto random = sub_stream(seed, "leaks");
    std::vector<double> leaks(static_cast<std::size_t>(uniform(random, 1.0, 3.999)));
    for (double& v : leaks) v = uniform(random, 8.0, 40.0) * (uniform(random, 0.0, 1.0) < 0.2 ? -1.0 : 1.0);
    return leaks;
}

}  // namespace idlehark::sim
