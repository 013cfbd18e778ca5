#include "dsp/sim/injector_probe.hpp"

#include "dsp/sim/engine_sound.hpp"
#include "dsp/sim/random.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>
#include <string>

namespace idlehark::sim {

namespace {

constexpr int kModes = 4;
constexpr double kLowestMode_hz = 2500.0;
constexpr double kHighestMode_hz = 13000.0;
constexpr double kHighestModeShare = 0.42;  // of the sample rate
constexpr double kHeardDecays = 9.0;        // a mode ends this many time constants on, at -78 dB

struct Mode {
    double f_hz, decay_s, phase, amplitude;
};
using Click = std::vector<Mode>;

double db_to_gain(double db) { return std::pow(10.0, db / 20.0); }

double highest_mode_hz(double rate_hz) { return std::min(kHighestMode_hz, kHighestModeShare * rate_hz); }

/// RMS over kLoud_s of a click that starts at 0.
double loudness(const Click& click, double rate_hz) {
    const auto n = static_cast<int>(InjectorProbeSpec::kLoud_s * rate_hz);
    double sum = 0.0;
    for (int i = 0; i < n; ++i) {
        double x = 0.0;
        const double t = i / rate_hz;
        for (const auto& m : click)
            x += m.amplitude * std::exp(-t / m.decay_s) * std::sin(2 * std::numbers::pi * m.f_hz * t + m.phase);
        sum += x * x;
    }
    return std::sqrt(sum / n);
}

Click draw_click(Random& random, double rate_hz, double shortest_s, double longest_s) {
    Click click;
    const double top = std::log(highest_mode_hz(rate_hz));
    for (int k = 0; k < kModes; ++k)
        click.push_back({std::exp(uniform(random, std::log(std::min(kLowestMode_hz, 0.3 * rate_hz)), top)),
                         uniform(random, shortest_s, longest_s), uniform(random, 0.0, 2 * std::numbers::pi),
                         uniform(random, 0.4, 1.0)});
    const double gain = 1.0 / loudness(click, rate_hz);
    for (auto& m : click) m.amplitude *= gain;
    return click;
}

/// The same part made twice: modes move by a few percent.
Click alike(Click click, Random& random, double rate_hz) {
    for (auto& m : click) {
        m.f_hz = std::min(m.f_hz * std::exp(0.03 * gaussian(random)), highest_mode_hz(rate_hz));
        m.decay_s *= std::exp(0.1 * gaussian(random));
        m.amplitude *= std::exp(0.15 * gaussian(random));
    }
    const double gain = 1.0 / loudness(click, rate_hz);
    for (auto& m : click) m.amplitude *= gain;
    return click;
}

/// Heard through the metal between: each mode keeps its own share of the amplitude.
Click through_metal(Click click, Random& random, double rate_hz) {
    for (auto& m : click) {
        m.amplitude *= std::exp(0.5 * gaussian(random));
        m.phase = uniform(random, 0.0, 2 * std::numbers::pi);
        m.decay_s *= 1.3;
    }
    const double gain = 1.0 / loudness(click, rate_hz);
    for (auto& m : click) m.amplitude *= gain;
    return click;
}

void add_click(std::vector<float>& x, double rate_hz, double start_s, const Click& click, double gain) {
    for (const auto& m : click) {
        const auto first = static_cast<long long>(std::ceil(start_s * rate_hz));
        const auto last = std::min(static_cast<long long>((start_s + kHeardDecays * m.decay_s) * rate_hz),
                                   static_cast<long long>(x.size()) - 1);
        for (auto i = std::max(first, 0LL); i <= last; ++i) {
            const double t = static_cast<double>(i) / rate_hz - start_s;
            x[static_cast<std::size_t>(i)] += static_cast<float>(gain * m.amplitude * std::exp(-t / m.decay_s) *
                                                                 std::sin(2 * std::numbers::pi * m.f_hz * t + m.phase));
        }
    }
}

/// The shares 0..1 of the cycle at which a cylinder's injector opens.
std::vector<double> openings(const InjectorProbeSpec& spec, int cylinder, double start) {
    const auto& e = spec.engine;
    const auto twice = [&](double at) { return std::vector<double>{at, at + 0.5}; };
    if (e.injection == Injection::simultaneous) return e.strokes == 2 ? std::vector{start} : twice(start);
    if (e.injection == Injection::grouped) {
        for (std::size_t g = 0; g < e.injection_groups.size(); ++g) {
            const auto& members = e.injection_groups[g];
            if (std::find(members.begin(), members.end(), cylinder) == members.end()) continue;
            const double share = static_cast<double>(g) / static_cast<double>(e.injection_groups.size());
            if (spec.group_each_turn && e.strokes == 4) return twice(start + 0.5 * share);
            return {start + share};
        }
        return {start};
    }
    const auto fractions = firing_fractions(e);
    std::size_t index = static_cast<std::size_t>(cylinder - 1);
    if (!e.firing_order.empty())
        index = static_cast<std::size_t>(std::find(e.firing_order.begin(), e.firing_order.end(), cylinder) -
                                         e.firing_order.begin());
    return {start + fractions[index]};
}

std::uint64_t run_seed(const InjectorProbeSpec& spec) { return spec.visit_seed.value_or(spec.seed); }

/// What is no click, RMS 1 within the band.
std::vector<float> background(const InjectorProbeSpec& spec, const SpeedPath& path, Band band) {
    const double rate = spec.sample_rate_hz;
    const auto length = static_cast<std::size_t>(path.duration_s() * rate);
    FastNoise noise{sub_stream(run_seed(spec) + 7919U * static_cast<std::uint64_t>(spec.cylinder), "probe noise")};
    std::vector<float> x(length);
    for (auto& v : x) v = static_cast<float>(noise.next());
    const double noise_share = spec.firing_heard ? 1.0 - spec.rumble_share : 1.0;
    const auto scale = static_cast<float>(std::sqrt(noise_share) / band_rms(x, rate, band));
    for (auto& v : x) v *= scale;
    if (!spec.firing_heard) return x;

    EngineSoundSpec sound;
    sound.engine = spec.engine;
    sound.sample_rate_hz = rate;
    sound.seed = sub_seed(spec.seed, "probed engine");
    sound.injector_db = kOff_db;
    EngineSound engine{sound, path};
    auto rumble = render_seconds(engine, path.duration_s());
    rumble.resize(length);
    const auto gain = static_cast<float>(std::sqrt(spec.rumble_share) / band_rms(rumble, rate, band));
    for (std::size_t i = 0; i < length; ++i) x[i] += gain * rumble[i];
    return x;
}

}  // namespace

InjectorProbe record_injector(const InjectorProbeSpec& spec, const SpeedPath& path) {
    check(spec.engine);
    const auto n = static_cast<std::size_t>(spec.engine.cylinders);
    if (spec.cylinder < 1 || spec.cylinder > spec.engine.cylinders)
        throw std::invalid_argument("cylinder: " + std::to_string(spec.cylinder) + " is not in 1.." +
                                    std::to_string(spec.engine.cylinders));
    if (!spec.health.empty() && spec.health.size() != n)
        throw std::invalid_argument("health: " + std::to_string(spec.health.size()) + " entries for " +
                                    std::to_string(n) + " cylinders");
    const double rate = spec.sample_rate_hz;

    auto set = sub_stream(spec.seed, "injector set");
    const double start = uniform(set, 0.0, 1.0);
    const double opening_level = uniform(set, 0.5, 1.1);
    const auto opening = draw_click(set, rate, 0.5e-3, 1.5e-3);
    const auto closing = draw_click(set, rate, 0.3e-3, 1.0e-3);

    const Band band{InjectorProbeSpec::kBand.low_hz, std::min(InjectorProbeSpec::kBand.high_hz, 0.45 * rate)};
    InjectorProbe probe;
    probe.samples = background(spec, path, band);
    const double own_gain = db_to_gain(spec.snr_db);

    for (int c = 1; c <= spec.engine.cylinders; ++c) {
        auto part = sub_stream(sub_seed(spec.seed, "injector " + std::to_string(c)), "made");
        auto open_click = alike(opening, part, rate);
        auto close_click = alike(closing, part, rate);
        const bool own = c == spec.cylinder;
        const auto& h = spec.health.empty() ? InjectorHealth{} : spec.health[static_cast<std::size_t>(c - 1)];
        const auto pair = "way " + std::to_string(c) + " to " + std::to_string(spec.cylinder);
        auto way = sub_stream(spec.seed, pair);
        double gain = own_gain * h.level;
        double delay_s = 0.0;
        if (!own) {
            gain *= spec.neighbour_level * db_to_gain(spec.neighbour_spread_db * gaussian(way));
            delay_s = uniform(way, 0.05e-3, 0.4e-3);
            open_click = through_metal(open_click, way, rate);
            close_click = through_metal(close_click, way, rate);
        }
        // Each recording is a run of the engine of its own.
        auto run = sub_stream(sub_seed(run_seed(spec), pair), "run");
        auto held_open = sub_stream(sub_seed(run_seed(spec), pair), "held open");
        for (double cycle = 0.0;; ++cycle) {
            bool past_end = false;
            for (const double at : openings(spec, c, start)) {
                const double due_s = path.time_at_cycles(cycle + at - std::floor(at));
                past_end = past_end || !(due_s + h.open_close_ms * 1e-3 + 2e-3 < path.duration_s());
                if (past_end) break;
                const double t = due_s + h.jitter_us * 1e-6 * gaussian(run);
                const double loud_open = opening_level * std::max(0.2, 1.0 + spec.amplitude_scatter * gaussian(run));
                const double loud_close = std::max(0.2, 1.0 + spec.amplitude_scatter * gaussian(run));
                const bool missed = uniform(run, 0.0, 1.0) < h.miss_probability || gain <= 0.0;
                if (own) ++probe.due;
                if (own && missed) ++probe.missed;
                if (missed) continue;
                if (own) probe.opened_s.push_back(t);
                add_click(probe.samples, rate, t + delay_s, open_click, gain * loud_open);
                const double open_s = h.open_close_ms * 1e-3 + h.open_close_scatter_us * 1e-6 * gaussian(held_open);
                add_click(probe.samples, rate, t + delay_s + open_s, close_click, gain * loud_close);
            }
            if (past_end) break;
        }
    }
    auto contact = sub_stream(sub_seed(run_seed(spec), "contact " + std::to_string(spec.cylinder)), "gain");
    // One recording level for the whole set, whatever its loudest part: 0.02 of full scale for the background.
    const auto level = static_cast<float>(0.02 * db_to_gain(spec.recording_spread_db * gaussian(contact)));
    for (auto& v : probe.samples) v *= level;
    return probe;
}

}  // namespace idlehark::sim
