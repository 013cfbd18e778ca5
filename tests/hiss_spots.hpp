#pragma once

#include "dsp/sim/disturbers.hpp"
#include "dsp/sim/engine_sound.hpp"
#include "dsp/sim/filter.hpp"
#include "dsp/sim/speed_path.hpp"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <memory>
#include <numbers>
#include <vector>

namespace idlehark::test {

/// A simulated probe at one spot of a running engine: the engine itself, and what may hiss or tick near it.
struct ProbeSpot {
    double leak_db =
        sim::kOff_db;         ///< hiss 2.5..12 kHz that swells with the firing, against the engine's own hiss there
    double leak_depth = 0.5;  ///< amplitude of the swell
    double fan_db = sim::kOff_db;       ///< a fan, likewise in the leak band
    double injector_db = sim::kOff_db;  ///< ticks of an injector close by, its neighbours at a quarter, likewise
    double microphone_db = -6.0;        ///< the microphone's own noise, white, likewise
    double gain_db = 0.0;               ///< of the recording
    double place_db = 0.0;              ///< how loud the engine's own sound is at this place
};

inline std::vector<float> probe_sound(const ProbeSpot& spot, const Engine& engine, std::uint64_t engine_seed,
                                      std::uint64_t seed, double rate_hz, double seconds) {
    sim::SpeedPathSpec p;
    p.duration_s = seconds;
    p.mean_rpm = 0.5 * (engine.idle_low_rpm + engine.idle_high_rpm);
    p.strokes = engine.strokes;
    p.seed = seed;
    p.wander_rpm = 2.0;
    p.hunting_rpm = 4.0;
    const sim::SpeedPath path(p);
    sim::EngineSoundSpec s;
    s.engine = engine;
    s.sample_rate_hz = rate_hz;
    s.seed = engine_seed;
    sim::EngineSound sound(s, path);
    auto x = sim::render_seconds(sound, seconds);
    s.injector_db = s.valve_db = sim::kOff_db;  // levels below are set against the engine's hiss, not its ticks
    sim::EngineSound plain(s, path);
    const sim::Band leak_band{2500.0, std::min(12000.0, 0.42 * rate_hz)};
    const double own = sim::band_rms(sim::render_seconds(plain, 5.0), rate_hz, leak_band);
    const double place = std::pow(10.0, spot.place_db / 20.0);
    for (float& v : x) v *= static_cast<float>(place);
    const auto add = [&](std::vector<float> y, double db) {
        const double scale = own * std::pow(10.0, db / 20.0) / sim::band_rms(y, rate_hz, leak_band);
        for (std::size_t i = 0; i < x.size(); ++i) x[i] += static_cast<float>(scale * static_cast<double>(y[i]));
    };
    if (std::isfinite(spot.leak_db)) {
        auto y =
            sim::render_seconds(*sim::make_source(sim::NoiseSpec{sim::NoiseColour::white}, rate_hz, seed + 1), seconds);
        auto high = sim::Biquad::high_pass(rate_hz, 2500.0, 0.7);
        const auto fires = firing_fractions(engine);
        for (std::size_t i = 0; i < y.size(); ++i) {
            const double cycles = path.cycles_at(static_cast<double>(i) / rate_hz);
            const double at = cycles - std::floor(cycles);
            const auto last = std::upper_bound(fires.begin(), fires.end(), at);
            const double since = last == fires.begin() ? at + 1.0 - fires.back() : at - *std::prev(last);
            const double firing = since * engine.cylinders;
            const double swell = std::sqrt(1.0 + spot.leak_depth * std::cos(2.0 * std::numbers::pi * firing));
            y[i] = static_cast<float>(swell * high(static_cast<double>(y[i])));
        }
        add(std::move(y), spot.leak_db);
    }
    if (std::isfinite(spot.injector_db)) {  // opens and closes once a cycle, each time a short ringing
        std::vector<float> y(x.size(), 0.0F);
        for (int j = 0; j < engine.cylinders; ++j)
            for (double c = 0.3 + static_cast<double>(j) / engine.cylinders; path.time_at_cycles(c) + 0.02 < seconds;
                 c += 1.0)
                for (const double late_s : {0.0, 2.8e-3}) {
                    const auto at = static_cast<std::size_t>((path.time_at_cycles(c) + late_s) * rate_hz);
                    for (std::size_t k = 0; k < static_cast<std::size_t>(0.006 * rate_hz); ++k) {
                        const double t = static_cast<double>(k) / rate_hz;
                        double v = 0.0;
                        for (const double f_hz : {3700.0, 5200.0, 7900.0, 11300.0})
                            if (f_hz < 0.45 * rate_hz) v += std::sin(2.0 * std::numbers::pi * f_hz * t);
                        y[at + k] += static_cast<float>((j == 0 ? 1.0 : 0.25) * v * std::exp(-t / 0.6e-3));
                    }
                }
        add(std::move(y), spot.injector_db);
    }
    sim::FanSpec fan;
    fan.shaft_hz = 31.0;
    fan.rush_db = 6.0;
    if (std::isfinite(spot.fan_db))
        add(sim::render_seconds(*sim::make_source(fan, rate_hz, seed + 2), seconds), spot.fan_db);
    if (std::isfinite(spot.microphone_db))
        add(sim::render_seconds(*sim::make_source(sim::NoiseSpec{sim::NoiseColour::white}, rate_hz, seed + 3), seconds),
            spot.microphone_db);
    const double gain = std::pow(10.0, spot.gain_db / 20.0);
    for (float& v : x) v *= static_cast<float>(gain);
    return x;
}

}  // namespace idlehark::test
