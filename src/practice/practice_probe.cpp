#include "src/practice/practice_probe.hpp"

#include "dsp/sim/filter.hpp"
#include "dsp/sim/random.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>
#include <string>

#include <fmt/format.h>

namespace idlehark {

namespace {

constexpr sim::Band kLeakBand{2500.0, 12000.0};
constexpr double kHiss_db = 8.0;  // of a leak of kHiss_rpm at its spot, against the engine's own hiss there
constexpr double kHiss_rpm = 25.0;
constexpr double kFades_mm = 40.0;  // a hiss that far away has 1/e of its amplitude
constexpr double kSwell = 0.9;      // of its power, with the firing
constexpr double kProbeNoise_db = -8.0;
constexpr double kPlace_db = 0.7;  // how the engine's own sound differs from spot to spot
constexpr float kPeak = 0.5F;
constexpr double kOddInjector = 0.5;

sim::SpeedPath path_of(const sim::SessionSpec& bay, std::uint64_t seed) {
    auto idle = bay.idle;
    idle.strokes = bay.engine.engine.strokes;
    idle.duration_s = kProbe_s + 1.0;
    idle.bursts.clear();
    idle.loads.clear();
    idle.seed = seed;
    return sim::SpeedPath{idle};
}

}  // namespace

std::vector<float> probe_spot(const sim::SessionSpec& bay, std::size_t spot) {
    const auto& here = bay.spots.at(spot);
    const auto seed = sim::sub_seed(bay.seed, "probe at " + here.id);
    auto random = sim::sub_stream(seed, "place");
    const auto path = path_of(bay, seed);
    auto spec = bay.engine;
    spec.sample_rate_hz = kProbeRate_hz;
    spec.visit_seed = seed;
    sim::EngineSound engine{spec, path};
    auto x = sim::render_seconds(engine, kProbe_s);
    const double own = sim::band_rms(x, kProbeRate_hz, kLeakBand);
    const auto place = static_cast<float>(std::pow(10.0, kPlace_db * sim::gaussian(random) / 20.0));
    for (float& v : x) v *= place;

    const auto noise = [&](const char* what) {
        return sim::render_seconds(
            *sim::make_source(sim::NoiseSpec{sim::NoiseColour::white}, kProbeRate_hz, sim::sub_seed(seed, what)),
            kProbe_s);
    };
    const auto add = [&](const std::vector<float>& y, double amplitude) {
        const double scale = own * amplitude / sim::band_rms(y, kProbeRate_hz, kLeakBand);
        for (std::size_t i = 0; i < x.size(); ++i) x[i] += static_cast<float>(scale * static_cast<double>(y[i]));
    };
    double power = 0.0;  // of all leaks, as they arrive here
    for (std::size_t s = 0; s < bay.spots.size(); ++s) {
        const auto& there = bay.spots[s];
        const double far = std::hypot(there.x_mm - here.x_mm, there.y_mm - here.y_mm) / kFades_mm;
        power += std::pow(bay.leak_rpm[s] / kHiss_rpm * std::exp(-far), 2.0);
    }
    if (power > 0.0) {
        auto hiss = noise("leak");
        auto high = sim::Biquad::high_pass(kProbeRate_hz, kLeakBand.low_hz, 0.7);
        for (std::size_t i = 0; i < hiss.size(); ++i) {
            const double firing = path.cycles_at(static_cast<double>(i) / kProbeRate_hz) * bay.engine.engine.cylinders;
            const double swell = std::sqrt(1.0 + kSwell * std::cos(2.0 * std::numbers::pi * firing));
            hiss[i] = static_cast<float>(swell * high(static_cast<double>(hiss[i])));
        }
        add(hiss, std::pow(10.0, kHiss_db / 20.0) * std::sqrt(power));
    }
    add(noise("probe"), std::pow(10.0, kProbeNoise_db / 20.0));
    float peak = 1.0e-9F;
    for (const float v : x) peak = std::max(peak, std::abs(v));
    for (float& v : x) v *= kPeak / peak;
    return x;
}

std::vector<sim::InjectorHealth> practice_injectors(const sim::SessionSpec& bay) {
    std::vector<sim::InjectorHealth> health(static_cast<std::size_t>(bay.engine.engine.cylinders));
    auto random = sim::sub_stream(bay.seed, "practice injectors");
    bool odd = false;
    for (std::size_t c = 0; c < std::min(health.size(), bay.engine.misfire_probability.size()); ++c)
        if (const double share = bay.engine.misfire_probability[c]; share > 0.0) {
            health[c].miss_probability = share;
            odd = true;
        }
    if (odd || sim::uniform(random, 0.0, 1.0) > kOddInjector) return health;
    auto& one = health[random() % health.size()];
    switch (random() % 3) {
        case 0:
            one.miss_probability = sim::uniform(random, 0.08, 0.3);
            break;
        case 1:
            one.level = 0.4;
            break;
        default:
            one.open_close_ms *= 1.4;
            break;
    }
    return health;
}

std::vector<float> probe_injector(const sim::SessionSpec& bay, int cylinder) {
    if (cylinder < 1 || cylinder > bay.engine.engine.cylinders)
        throw std::out_of_range(fmt::format("cylinder {} is not 1..{}", cylinder, bay.engine.engine.cylinders));
    sim::InjectorProbeSpec spec;
    spec.engine = bay.engine.engine;
    spec.sample_rate_hz = kProbeRate_hz;
    spec.seed = sim::sub_seed(bay.seed, "injectors");
    spec.cylinder = cylinder;
    spec.health = practice_injectors(bay);
    const auto path = path_of(bay, sim::sub_seed(bay.seed, fmt::format("injector {}", cylinder)));
    return sim::record_injector(spec, path).samples;
}

}  // namespace idlehark
