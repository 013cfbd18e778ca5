#pragma once

#include "dsp/engine.hpp"
#include "dsp/sim/engine_sound.hpp"
#include "dsp/sim/filter.hpp"
#include "dsp/sim/injector_probe.hpp"
#include "dsp/sim/random.hpp"
#include "dsp/sim/source.hpp"
#include "dsp/sim/speed_path.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

namespace idlehark::test {

/// What goes wrong on the way from the injector to the file.
struct ProbeTrouble {
    double hum_db = sim::kOff_db;   ///< mains at 50 Hz and its odd multiples, against the rumble
    double fan_db = sim::kOff_db;   ///< broadband rush, against the noise between the clicks
    double tick_db = sim::kOff_db;  ///< two valve ticks per firing, against the own clicks
    double offset = 0.0;            ///< constant, of full scale
    double drive = 1.0;             ///< gain before the file's limits
};

/// A second simulated probe that shares no click, no background and no way through the metal with
/// sim::record_injector, to see whether verdicts hold on sounds they were not developed on: clicks are bursts of
/// coloured noise, frozen per part, with a bounce; neighbours come through a low-pass and get fainter with their
/// distance; all goes through the resonance of a probe; the background is brown and white noise and a thump per firing.
/// Nothing of it is measured on an engine.
inline sim::InjectorProbe record_plain_probe(const sim::InjectorProbeSpec& spec, const sim::SpeedPath& path,
                                             const ProbeTrouble& trouble = {}) {
    using sim::uniform;
    const double rate = spec.sample_rate_hz;
    const auto length = static_cast<std::size_t>(path.duration_s() * rate);
    auto set = sim::sub_stream(spec.seed, "plain set");
    const double start = uniform(set, 0.0, 1.0);
    const double opening_level = uniform(set, 0.6, 1.3);
    const double body_hz = uniform(set, 2600.0, std::min(9000.0, 0.35 * rate));
    const double body_q = uniform(set, 0.8, 3.0);
    const double probe_hz = uniform(set, 1500.0, std::min(6000.0, 0.3 * rate));

    const auto burst = [&](std::uint64_t seed, double decay_s, double rise_s, double bounce_s, double bounce) {
        auto random = sim::sub_stream(seed, "burst");
        auto part = sim::sub_stream(seed, "body");
        auto body = sim::Biquad::band_pass(rate, body_hz * std::exp(0.04 * sim::gaussian(part)), body_q);
        auto probe = sim::Biquad::band_pass(rate, probe_hz, 0.7);
        std::vector<double> y(static_cast<std::size_t>(0.008 * rate));
        for (std::size_t i = 0; i < y.size(); ++i) {
            const double t = static_cast<double>(i) / rate;
            const auto decayed = [&](double s) {
                return s < 0.0 ? 0.0 : (1.0 - std::exp(-s / rise_s)) * std::exp(-s / decay_s);
            };
            const double drawn = sim::gaussian(random) * (decayed(t) + bounce * decayed(t - bounce_s));
            const double through = body(drawn);
            y[i] = through + 0.7 * probe(through);
        }
        double sum = 0.0;
        const auto loud = static_cast<std::size_t>(sim::InjectorProbeSpec::kLoud_s * rate);
        for (std::size_t i = 0; i < loud; ++i) sum += y[i] * y[i];
        const double gain = 1.0 / std::sqrt(sum / static_cast<double>(loud));
        for (double& v : y) v *= gain;
        return y;
    };
    const double open_decay_s = uniform(set, 0.3e-3, 0.9e-3);
    const double close_decay_s = uniform(set, 0.2e-3, 0.7e-3);
    const double bounce = uniform(set, 0.0, 0.35);
    const double bounce_s = uniform(set, 0.3e-3, 0.7e-3);

    // Background: level 1 within the band in which the signal-to-noise ratio is stated.
    auto noise = sim::sub_stream(spec.seed * 31 + static_cast<std::uint64_t>(spec.cylinder), "plain noise");
    std::vector<float> x(length), rumble(length, 0.0F);
    double brown = 0.0;
    for (float& v : x) {
        brown = 0.97 * brown + sim::gaussian(noise);
        v = static_cast<float>(0.5 * brown + sim::gaussian(noise));
    }
    const sim::Band band{sim::InjectorProbeSpec::kBand.low_hz,
                         std::min(sim::InjectorProbeSpec::kBand.high_hz, 0.45 * rate)};
    const double scale = 1.0 / sim::band_rms(x, rate, band);
    for (float& v : x) v = static_cast<float>(scale * static_cast<double>(v));
    auto thump = sim::sub_stream(spec.seed, "plain thump");
    const double low_hz = uniform(thump, 60.0, 110.0), high_hz = uniform(thump, 150.0, 320.0);
    if (spec.firing_heard)
        for (const double at : firing_fractions(spec.engine))
            for (double cycle = 0.0; path.time_at_cycles(cycle + at) < path.duration_s(); cycle += 1.0) {
                const double t0 = path.time_at_cycles(cycle + at);
                const double loud = 6.0 * (1.0 + 0.15 * sim::gaussian(thump));
                const auto first = static_cast<std::size_t>(t0 * rate);
                for (std::size_t i = first; i < std::min(length, first + static_cast<std::size_t>(0.05 * rate)); ++i) {
                    const double t = static_cast<double>(i) / rate - t0;
                    rumble[i] += static_cast<float>(
                        loud * (std::sin(2 * std::numbers::pi * low_hz * t) * std::exp(-t / 0.015) +
                                0.6 * std::sin(2 * std::numbers::pi * high_hz * t) * std::exp(-t / 0.006)));
                }
            }
    for (std::size_t i = 0; i < length; ++i) {
        const double t = static_cast<double>(i) / rate;
        double v = static_cast<double>(rumble[i]);
        if (std::isfinite(trouble.hum_db))
            for (const double k : {1.0, 3.0, 5.0, 7.0})
                v += 6.0 * std::pow(10.0, trouble.hum_db / 20.0) / k * std::sin(2 * std::numbers::pi * 50.0 * k * t);
        if (std::isfinite(trouble.fan_db)) v += std::pow(10.0, trouble.fan_db / 20.0) * sim::gaussian(noise);
        x[i] += static_cast<float>(v);
    }
    const auto lay = [&](const std::vector<double>& y, double t, double gain) {
        const double place = t * rate;
        const auto first = static_cast<std::ptrdiff_t>(std::ceil(place));
        const double share = static_cast<double>(first) - place;  // sample k of the burst lies at first + k - share
        for (std::size_t k = 0; k + 1 < y.size(); ++k) {
            const auto i = first + static_cast<std::ptrdiff_t>(k);
            if (i < 0 || i >= static_cast<std::ptrdiff_t>(length)) continue;
            x[static_cast<std::size_t>(i)] += static_cast<float>(gain * std::lerp(y[k], y[k + 1], share));
        }
    };

    sim::InjectorProbe out;
    const double own_gain = std::pow(10.0, spec.snr_db / 20.0);
    if (std::isfinite(trouble.tick_db)) {
        const auto tick = burst(spec.seed + 991, 0.8e-3, 0.1e-3, 1e-3, 0.0);
        for (const double at : firing_fractions(spec.engine))
            for (const double after : {0.11, 0.17})
                for (double cycle = 0.0; path.time_at_cycles(cycle + at + after) < path.duration_s(); cycle += 1.0)
                    lay(tick, path.time_at_cycles(cycle + at + after),
                        own_gain * std::pow(10.0, trouble.tick_db / 20.0) * (1.0 + 0.2 * sim::gaussian(noise)));
    }
    const auto& order = spec.engine.firing_order;
    const auto fractions = firing_fractions(spec.engine);
    for (int c = 1; c <= spec.engine.cylinders; ++c) {
        const auto id = spec.seed * 64 + static_cast<std::uint64_t>(c);
        auto opening = burst(id, open_decay_s, 0.06e-3, bounce_s, bounce);
        auto closing = burst(id + 32, close_decay_s, 0.03e-3, bounce_s, bounce);
        const bool own = c == spec.cylinder;
        double gain = own_gain, delay_s = 0.0;
        auto way = sim::sub_stream(id * 64 + static_cast<std::uint64_t>(spec.cylinder), "plain way");
        if (!own) {
            gain *= spec.neighbour_level * std::pow(10.0, -0.06 * (std::abs(c - spec.cylinder) - 1)) *
                    std::pow(10.0, spec.neighbour_spread_db / 20.0 * sim::gaussian(way));
            delay_s = uniform(way, 0.05e-3, 0.5e-3);
            for (auto* y : {&opening, &closing}) {
                auto metal = sim::Biquad::low_pass(rate, std::min(uniform(way, 4000.0, 8000.0), 0.4 * rate), 0.7);
                double before = 0.0, after = 0.0;
                for (double& v : *y) {
                    before += v * v;
                    v = metal(v);
                    after += v * v;
                }
                for (double& v : *y) v *= std::sqrt(before / after);
            }
        }
        const auto& h = spec.health.empty() ? sim::InjectorHealth{} : spec.health[static_cast<std::size_t>(c - 1)];
        std::size_t index = static_cast<std::size_t>(c - 1);
        if (!order.empty()) index = static_cast<std::size_t>(std::find(order.begin(), order.end(), c) - order.begin());
        std::vector<double> opens{start + fractions[index]};
        if (spec.engine.injection == Injection::simultaneous) {
            opens = {start};
            if (spec.engine.strokes == 4) opens.push_back(start + 0.5);
        }
        if (spec.engine.injection == Injection::grouped) {
            const auto& groups = spec.engine.injection_groups;
            for (std::size_t g = 0; g < groups.size(); ++g)
                if (std::find(groups[g].begin(), groups[g].end(), c) != groups[g].end())
                    opens = {start + static_cast<double>(g) / static_cast<double>(groups.size()) *
                                         (spec.group_each_turn ? 0.5 : 1.0)};
            if (spec.group_each_turn && spec.engine.strokes == 4) opens.push_back(opens.front() + 0.5);
        }
        auto run = sim::sub_stream(id * 64 + static_cast<std::uint64_t>(spec.cylinder), "plain run");
        auto held_open = sim::sub_stream(id * 64 + static_cast<std::uint64_t>(spec.cylinder), "plain held open");
        for (double cycle = 0.0; cycle < path.duration_s() * 20.0; cycle += 1.0)
            for (const double at : opens) {
                const double due_s = path.time_at_cycles(cycle + at - std::floor(at));
                if (!(due_s + h.open_close_ms * 1e-3 + 2e-3 < path.duration_s())) continue;
                const double t = due_s + h.jitter_us * 1e-6 * sim::gaussian(run);
                const double loud = std::exp(spec.amplitude_scatter * sim::gaussian(run));
                const bool missed = uniform(run, 0.0, 1.0) < h.miss_probability || h.level <= 0.0;
                if (own) ++out.due;
                if (own && missed) ++out.missed;
                if (missed) continue;
                if (own) out.opened_s.push_back(t);
                lay(opening, t + delay_s, gain * h.level * opening_level * loud);
                lay(closing,
                    t + delay_s + 1e-3 * h.open_close_ms + 1e-6 * h.open_close_scatter_us * sim::gaussian(held_open),
                    gain * h.level * loud);
            }
    }
    auto contact = sim::sub_stream(spec.seed * 64 + static_cast<std::uint64_t>(spec.cylinder), "plain contact");
    const double level = 0.02 * std::pow(10.0, spec.recording_spread_db / 20.0 * sim::gaussian(contact));
    for (float& v : x)
        v = std::clamp(static_cast<float>(trouble.drive * level * static_cast<double>(v) + trouble.offset), -1.0F,
                       1.0F);
    out.samples = std::move(x);
    return out;
}

}  // namespace idlehark::test
