#include "dsp/sim/engine_sound.hpp"

#include "dsp/sim/filter.hpp"
#include "dsp/sim/phasor.hpp"
#include "dsp/sim/random.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <stdexcept>
#include <string>

namespace idlehark::sim {

namespace {

constexpr double kTwoPi = 2.0 * std::numbers::pi;

// All ranges below are invented for simulation (see the header).
struct ModeRange {
    int count;
    double low_hz, high_hz;
    double decay_low_s, decay_high_s;  // time constants
    double spread_db;                  // of the mode levels
    double slope_db_per_octave;        // of the mode levels above low_hz
    double attack_s;                   // raised-cosine onset of the response
};
constexpr ModeRange kExhaustModes{4, 45.0, 180.0, 0.008, 0.018, 3.0, 0.0, 0.4e-3};
constexpr ModeRange kBodyModes{12, 180.0, 4500.0, 0.002, 0.009, 4.0, -3.0, 0.4e-3};
constexpr ModeRange kValveModes{6, 2500.0, 9000.0, 0.4e-3, 1.5e-3, 4.0, 0.0, 0.05e-3};
constexpr ModeRange kInjectorModes{5, 3500.0, 13000.0, 0.2e-3, 0.7e-3, 4.0, 0.0, 0.03e-3};

constexpr double kHighestShare = 0.45;  // of the sample rate: modes above are not heard
constexpr double kDecaysKept = 7.0;     // a response ends 61 dB down
constexpr std::size_t kPhases = 8;      // kernel rows per sample

constexpr double kLookAhead_cycles = 0.05;  // pulses are drawn this early, so that scatter may bring them forward
constexpr double kScatterLimit_sd = 3.0;    // timing scatter is cut here
constexpr double kDying_rpm = 200.0;        // below this nothing burns any more: all sound falls with the speed

constexpr double kValveScatter = 0.3;  // of a tick's level
constexpr double kInjectorScatter = 0.08;
constexpr double kInjectorOpen_s = 2.8e-3;      // from the opening to the closing tick at idle
constexpr double kInjectorOpenShare = 0.6;      // level of the opening tick against the closing one
constexpr double kInjectionLead_cycles = 0.45;  // sequential injection: this long before its cylinder fires

constexpr double kFlowDecay_s = 8e-3;  // flow noise swells at each firing and dies away
constexpr double kFlowAttack_s = 2e-3;
constexpr double kFlowFloor = 2.0;     // what is always there, against the mean swell
constexpr double kFlowLow_hz = 250.0;  // the noise's band; above its upper corner 12 dB per octave less
constexpr double kFlowHighFrom_hz = 900.0, kFlowHighTo_hz = 2600.0;

constexpr std::size_t kPhasorRun = 32;  // samples over which a whine's frequency is held (0.7 ms at 48 kHz)

// What the bay returns of every pulse: it is why a real idle is smooth and not a row of clicks.
constexpr int kReflections = 14;
constexpr double kReflectionFirst_s = 0.6e-3, kReflectionLast_s = 28e-3;
constexpr double kReflectionDecay_s = 14e-3;

double gain(double db) { return std::pow(10.0, db / 20.0); }

struct Mode {
    double f_hz, decay_s, amplitude, phase;
};

std::vector<Mode> draw_modes(Random& random, const ModeRange& r) {
    std::vector<Mode> modes;
    for (int i = 0; i < r.count; ++i) {  // one in each of `count` equal parts of the logarithmic range
        const double part = (i + uniform(random, 0.1, 0.9)) / r.count;
        const double f = r.low_hz * std::pow(r.high_hz / r.low_hz, part);
        const double decay = uniform(random, r.decay_low_s, r.decay_high_s);
        const double db = r.slope_db_per_octave * std::log2(f / r.low_hz) + r.spread_db * gaussian(random);
        modes.push_back({f, decay, gain(db), uniform(random, 0.0, kTwoPi)});
    }
    return modes;
}

struct Reflection {
    double delay_s, gain;
};

std::vector<Reflection> draw_reflections(Random random, double strength) {
    std::vector<Reflection> list{{0.0, 1.0}};
    for (int i = 0; i < kReflections; ++i) {
        const double part = (i + uniform(random, 0.0, 1.0)) / kReflections;
        const double delay = kReflectionFirst_s * std::pow(kReflectionLast_s / kReflectionFirst_s, part);
        list.push_back({delay, strength * std::exp(-delay / kReflectionDecay_s) * gaussian(random)});
    }
    return list;
}

/// One pulse response at kPhases positions between samples: row p holds h((n - p/kPhases) / rate).
class Kernel {
   public:
    Kernel(double rate_hz, double attack_s, const std::vector<Mode>& modes,
           const std::vector<Reflection>& reflections = {{0.0, 1.0}}) {
        attack_s = std::max(attack_s, 2.0 / rate_hz);  // keeps the onset within the band at low rates
        double longest_s = 0.0;
        for (const auto& m : modes)
            if (m.f_hz < kHighestShare * rate_hz) longest_s = std::max(longest_s, m.decay_s);
        const auto direct = static_cast<std::size_t>(std::ceil((attack_s + kDecaysKept * longest_s) * rate_hz)) + 2;
        // All rows in one: h at kPhases times the rate, row p interleaved at n * kPhases - p.
        std::vector<double> h(direct * kPhases, 0.0);
        const double step_s = 1.0 / (rate_hz * static_cast<double>(kPhases));
        for (const auto& m : modes) {
            if (m.f_hz >= kHighestShare * rate_hz) continue;
            const Phasor turn(std::exp(std::complex<double>(-1.0 / m.decay_s, kTwoPi * m.f_hz) * step_s));
            Phasor z(std::polar(m.amplitude, m.phase));
            for (double& v : h) {
                v += z.im;
                z.turn(turn);
            }
        }
        for (std::size_t i = 0; i < h.size() && static_cast<double>(i) * step_s < attack_s; ++i)
            h[i] *= 0.5 - 0.5 * std::cos(std::numbers::pi * static_cast<double>(i) * step_s / attack_s);
        std::vector<double> all;
        for (const auto& r : reflections) {
            const auto late = static_cast<std::size_t>(std::llround(r.delay_s / step_s));
            all.resize(std::max(all.size(), late + h.size()), 0.0);
            for (std::size_t i = 0; i < h.size(); ++i) all[late + i] += r.gain * h[i];
        }
        length_ = (all.size() + kPhases - 1) / kPhases + 1;
        rows_.assign(length_ * (kPhases + 1), 0.0F);
        for (std::size_t p = 0; p <= kPhases; ++p)
            for (std::size_t n = 0; n < length_; ++n) {
                const std::size_t i = n * kPhases - p;  // n = 0 wraps to far beyond the end: nothing before the pulse
                if (i < all.size()) rows_[p * length_ + n] = static_cast<float>(all[i]);
            }
    }

    /// Adds the response of a pulse at `frame` (0 or more, fractional) of `out`, which must be long enough.
    void add_to(std::vector<float>& out, double frame, double strength) const {
        const double whole = std::floor(frame);
        const double x = (frame - whole) * static_cast<double>(kPhases);
        const auto row = std::min(static_cast<std::size_t>(x), kPhases - 1);
        const auto w1 = static_cast<float>(strength * (x - static_cast<double>(row)));
        const auto w0 = static_cast<float>(strength) - w1;
        const float* a = rows_.data() + row * length_;
        const float* b = a + length_;
        float* y = out.data() + static_cast<std::size_t>(whole);
        for (std::size_t n = 0; n < length_; ++n) y[n] += w0 * a[n] + w1 * b[n];
    }

    void scale(double g) {
        for (float& v : rows_) v *= static_cast<float>(g);
    }
    [[nodiscard]] std::size_t length() const noexcept { return length_; }
    [[nodiscard]] double energy() const {  // sum of squares, row 0
        double e = 0.0;
        for (std::size_t n = 0; n < length_; ++n) e += static_cast<double>(rows_[n]) * static_cast<double>(rows_[n]);
        return e;
    }
    [[nodiscard]] std::complex<double> response(double rate_hz, double f_hz) const {
        std::complex<double> sum = 0.0;
        for (std::size_t n = 0; n < length_; ++n)
            sum += static_cast<double>(rows_[n]) * std::polar(1.0, -kTwoPi * f_hz / rate_hz * static_cast<double>(n));
        return sum;
    }

   private:
    std::size_t length_ = 0;
    std::vector<float> rows_;
};

/// Something that happens at fixed places of the cycle.
struct Tick {
    double at_cycles;  // 0..1
    std::size_t kernel;
    double level;
};

/// A tone that follows the crank.
struct Order {
    double per_turn;
    double amplitude;
};

}  // namespace

struct EngineSound::Parts {
    EngineSoundSpec spec;
    SpeedPath path;
    std::vector<double> fractions;
    std::vector<Kernel> combustion;  // one per cylinder, in firing order
    std::vector<Kernel> ticks;
    std::vector<Tick> valves;
    std::vector<Tick> injectors;
    Kernel flow_swell;
    Cascade flow_colour;
    double flow_gain = 0.0;
    double flow_floor = 0.0;
    std::vector<Order> orders;
    std::size_t tail = 0;  // longest response
    std::vector<Reflection> reflections;
    double combustion_rms = 0.0;

    Parts(const EngineSoundSpec& s, SpeedPath p)
        : spec(s),
          path(std::move(p)),
          fractions(firing_fractions(s.engine)),
          // The swell is a response with no oscillation: a mode of 0 Hz at phase 90 degrees.
          flow_swell(s.sample_rate_hz, kFlowAttack_s, {{0.0, kFlowDecay_s, 1.0, std::numbers::pi / 2.0}}),
          reflections(draw_reflections(sub_stream(s.visit_seed.value_or(s.seed), "reflections"), s.reflections)) {
        double power = 1.0;
        for (const double db : {s.valve_db, s.injector_db, s.flow_db, s.alternator_db, s.belt_db})
            power += gain(2.0 * db);
        combustion_rms = s.level_rms / std::sqrt(power);
        const double cycle_hz = std::max(1.0, cycle_frequency(s.engine, Rpm{path.rpm_at(0.0)}).value);
        build_combustion(cycle_hz);
        build_ticks(cycle_hz);
        build_flow(cycle_hz);
        build_orders();
        for (const auto* list : {&combustion, &ticks})
            for (const auto& k : *list) tail = std::max(tail, k.length());
        tail = std::max(tail, flow_swell.length()) + 1;
    }

   private:
    void build_combustion(double cycle_hz) {
        auto random = sub_stream(spec.seed, "body");
        const auto body = draw_modes(random, kBodyModes);
        const auto exhaust = draw_modes(random, kExhaustModes);
        auto colour = sub_stream(spec.seed, "cylinder colour");
        // The low modes are set against the body ones by their energies, about amplitude^2 * decay / 4 each.
        const auto energy = [](const std::vector<Mode>& modes) {
            double e = 0.0;
            for (const auto& m : modes) e += m.amplitude * m.amplitude * m.decay_s;
            return e;
        };
        const double low = gain(spec.low_db) * std::sqrt(energy(body) / energy(exhaust));
        double power = 0.0;
        for (std::size_t i = 0; i < fractions.size(); ++i) {
            auto modes = body;
            for (auto m : exhaust) {
                m.amplitude *= low;
                modes.push_back(m);
            }
            for (auto& m : modes) m.amplitude *= std::exp(spec.cylinder_colour * gaussian(colour));
            combustion.emplace_back(spec.sample_rate_hz, kBodyModes.attack_s, modes, reflections);
            power += combustion.back().energy();
        }
        const double rms = std::sqrt(power * cycle_hz / spec.sample_rate_hz);
        for (auto& k : combustion) k.scale(combustion_rms / rms);
    }

    void build_ticks(double cycle_hz) {
        auto random = sub_stream(spec.seed, "ticks");
        const auto add_kernel = [&](const ModeRange& range, double events_per_cycle, double db) {
            Kernel k(spec.sample_rate_hz, range.attack_s, draw_modes(random, range), reflections);
            const double rms =
                std::sqrt(std::max(1e-30, k.energy() * events_per_cycle * cycle_hz / spec.sample_rate_hz));
            k.scale(combustion_rms * gain(db) / rms);
            ticks.push_back(std::move(k));
            return ticks.size() - 1;
        };
        const double n = static_cast<double>(fractions.size());
        const bool four_stroke = spec.engine.strokes == 4;
        constexpr std::array kValveSeats{0.30,
                                         0.81};  // exhaust and intake valve closing, cycles after firing (invented)
        for (const double seat : kValveSeats) {
            if (!four_stroke || spec.valve_db == kOff_db) continue;  // a two-stroke has ports
            const auto kernel = add_kernel(kValveModes, n * kValveSeats.size(), spec.valve_db);
            for (const double f : fractions) valves.push_back({f + seat, kernel, std::exp(0.25 * gaussian(random))});
        }
        if (spec.injector_db == kOff_db) return;
        const auto kernel = add_kernel(kInjectorModes, 2.0 * n, spec.injector_db);
        for (std::size_t i = 0; i < fractions.size(); ++i) {
            const double level = std::exp(0.15 * gaussian(random));
            if (spec.engine.injection == Injection::sequential || !four_stroke) {
                injectors.push_back({fractions[i] + kInjectionLead_cycles, kernel, level});
            } else {  // simultaneous and grouped: once per crank turn; groups half a turn apart
                const double place = spec.engine.injection == Injection::grouped && i % 2 == 1 ? 0.25 : 0.0;
                injectors.push_back({place + 0.05, kernel, level});
                injectors.push_back({place + 0.55, kernel, level});
            }
        }
    }

    void build_flow(double cycle_hz) {
        if (spec.flow_db == kOff_db) return;
        auto random = sub_stream(spec.seed, "flow colour");
        const double rate = spec.sample_rate_hz;
        flow_colour.add(Biquad::high_pass(rate, kFlowLow_hz, 0.6));
        for (int i = 0; i < 3; ++i) {
            const double f = uniform(random, 400.0, 6000.0);
            if (f < kHighestShare * rate) flow_colour.add(Biquad::peak(rate, f, 1.5, uniform(random, -6.0, 6.0)));
        }
        flow_colour.add(Biquad::low_pass(rate, uniform(random, kFlowHighFrom_hz, kFlowHighTo_hz), 0.6));
        // Mean and mean square of the swell, as if swells did not overlap.
        const double swells_per_s = cycle_hz * static_cast<double>(fractions.size());
        const double mean = swells_per_s * std::abs(flow_swell.response(rate, 0.0)) / rate;
        flow_floor = kFlowFloor * mean;
        const double square =
            swells_per_s * flow_swell.energy() / rate + flow_floor * flow_floor + 2.0 * flow_floor * mean;
        flow_gain = combustion_rms * gain(spec.flow_db) / (flow_colour.noise_gain(rate) * std::sqrt(square));
    }

    void build_orders() {
        auto random = sub_stream(spec.seed, "orders");
        const double tone = combustion_rms * std::numbers::sqrt2;
        const double pulley =
            uniform(random, 2.2, 3.1) + 0.0137;  // alternator turns per crank turn: not a simple ratio
        if (spec.alternator_db != kOff_db) {
            constexpr double kPolesAndPhases =
                36.0;  // six pole pairs, six-pulse rectifier (common practice, no source)
            for (const double harmonic : {0.5, 1.0, 2.0})
                orders.push_back({pulley * kPolesAndPhases * harmonic,
                                  tone * gain(spec.alternator_db) * (harmonic == 1.0 ? 0.8 : 0.42)});
        }
        if (spec.belt_db != kOff_db) {
            const double belt = uniform(random, 0.31, 0.47);  // belt passages per crank turn
            for (int k = 1; k <= 4; ++k) orders.push_back({belt * k * 3.0, tone * gain(spec.belt_db) * 0.5});
            orders.push_back({pulley, tone * gain(spec.belt_db) * 0.5});
        }
    }
};

struct EngineSound::State {
    struct Event {
        double time_s;
        const Kernel* kernel;
        double strength;
        bool swells;  // also lets the flow noise swell
    };

    explicit State(const Parts& p)
        : combustion(sub_stream(p.spec.visit_seed.value_or(p.spec.seed), "combustion")),
          valve(sub_stream(p.spec.visit_seed.value_or(p.spec.seed), "valve")),
          injector(sub_stream(p.spec.visit_seed.value_or(p.spec.seed), "injector")),
          noise(sub_stream(p.spec.visit_seed.value_or(p.spec.seed), "flow noise")),
          sound(kBlockFrames + p.tail, 0.0F),
          swell(p.spec.flow_db == kOff_db ? 0 : kBlockFrames + p.tail, 0.0F),
          flow_colour(p.flow_colour) {}

    std::uint64_t frame = 0;
    Random combustion, valve, injector;
    FastNoise noise;
    double next_cycle = -1.0;    // whole cycles are drawn at a time
    std::vector<Event> waiting;  // drawn, but beyond the block
    std::vector<Firing> drawn, firings;
    std::vector<float> sound, swell;  // this block and the tails of what has begun
    Cascade flow_colour;

    void draw_cycle(const Parts& p, double cycle);
};

void EngineSound::State::draw_cycle(const Parts& p, double cycle) {
    const auto& s = p.spec;
    const double per_degree = 1.0 / cycle_deg(s.engine);
    const auto alive = [&](double time_s) { return std::min(1.0, p.path.rpm_at(time_s) / kDying_rpm); };
    const auto place = [&](double cycles) { return cycles < 0.0 ? -1.0 : p.path.time_at_cycles(cycles); };
    const auto expect = [&](double time_s, const Kernel& k, double strength, bool swells) {
        if (time_s >= 0.0 && std::isfinite(time_s)) waiting.push_back({time_s, &k, strength * alive(time_s), swells});
    };
    for (std::size_t i = 0; i < p.fractions.size(); ++i) {
        double strength = s.cylinder_strengths.empty() ? 1.0 : s.cylinder_strengths[i];
        strength *= std::max(0.0, 1.0 + s.strength_scatter * gaussian(combustion));
        const double late = std::clamp(gaussian(combustion), -kScatterLimit_sd, kScatterLimit_sd);
        const double chance = uniform(combustion, 0.0, 1.0);
        const bool misfire = !s.misfire_probability.empty() && chance < s.misfire_probability[i];
        if (misfire) strength *= s.misfire_strength;
        const double t = place(cycle + p.fractions[i] + late * s.timing_scatter_deg * per_degree);
        expect(t, p.combustion[i], strength, true);
        if (t >= 0.0 && std::isfinite(t)) drawn.push_back({t, static_cast<int>(i), strength, misfire});
    }
    for (const auto& v : p.valves) {
        const double level = v.level * std::max(0.0, 1.0 + kValveScatter * gaussian(valve));
        expect(place(cycle + v.at_cycles), p.ticks[v.kernel], level, false);
    }
    for (const auto& j : p.injectors) {
        const double level = j.level * std::max(0.0, 1.0 + kInjectorScatter * gaussian(injector));
        const double t = place(cycle + j.at_cycles);
        expect(t, p.ticks[j.kernel], kInjectorOpenShare * level, false);
        expect(t < 0.0 ? t : t + kInjectorOpen_s, p.ticks[j.kernel], level, false);
    }
}

EngineSound::EngineSound(const EngineSoundSpec& spec, SpeedPath path) : Source(spec.sample_rate_hz) {
    check(spec.engine);
    const auto n = static_cast<std::size_t>(spec.engine.cylinders);
    if (!spec.cylinder_strengths.empty() && spec.cylinder_strengths.size() != n)
        throw std::invalid_argument("cylinder_strengths: needs one for each of " + std::to_string(n) + " cylinders");
    if (!spec.misfire_probability.empty() && spec.misfire_probability.size() != n)
        throw std::invalid_argument("misfire_probability: needs one for each of " + std::to_string(n) + " cylinders");
    if (path.strokes() != spec.engine.strokes)
        throw std::invalid_argument("strokes: " + std::to_string(path.strokes()) + " in the speed path, " +
                                    std::to_string(spec.engine.strokes) + " in the engine");
    parts_ = std::make_unique<const Parts>(spec, std::move(path));
    rewind();
}

EngineSound::~EngineSound() = default;

void EngineSound::rewind() { state_ = std::make_unique<State>(*parts_); }

const std::vector<EngineSound::Firing>& EngineSound::last_firings() const noexcept { return state_->firings; }

double EngineSound::pulse_response(int index, double f_hz) const {
    return std::abs(parts_->combustion.at(static_cast<std::size_t>(index)).response(sample_rate_hz(), f_hz));
}

void EngineSound::make_block(std::span<float> out) {
    const Parts& p = *parts_;
    State& s = *state_;
    const double rate = sample_rate_hz();
    const double start_s = static_cast<double>(s.frame) / rate;
    const double end_s = static_cast<double>(s.frame + kBlockFrames) / rate;

    // Valve and injector places run up to one cycle beyond their own, so cycle -1 is drawn too.
    while (s.next_cycle <= p.path.cycles_at(end_s) + kLookAhead_cycles) {
        s.draw_cycle(p, s.next_cycle);
        s.next_cycle += 1.0;
    }
    std::erase_if(s.waiting, [&](const State::Event& e) {
        if (e.time_s >= end_s) return false;
        const double frame = std::max(0.0, (e.time_s - start_s) * rate);
        e.kernel->add_to(s.sound, frame, e.strength);
        if (e.swells && !s.swell.empty()) p.flow_swell.add_to(s.swell, frame, e.strength);
        return true;
    });
    s.firings.clear();
    std::erase_if(s.drawn, [&](const Firing& f) {
        if (f.time_s >= end_s) return false;
        s.firings.push_back(f);
        return true;
    });

    std::copy_n(s.sound.begin(), kBlockFrames, out.begin());
    const auto move_on = [](std::vector<float>& v) {
        std::copy(v.begin() + kBlockFrames, v.end(), v.begin());
        std::fill(v.end() - static_cast<std::ptrdiff_t>(kBlockFrames), v.end(), 0.0F);
    };
    for (std::size_t run = 0; run < kBlockFrames; run += kPhasorRun) {
        const double t0 = static_cast<double>(s.frame + run) / rate;
        const double t1 = static_cast<double>(s.frame + run + kPhasorRun) / rate;
        const double alive = std::min(1.0, p.path.rpm_at(t0) / kDying_rpm);
        if (!s.swell.empty())
            for (std::size_t i = run; i < run + kPhasorRun; ++i)
                out[i] += static_cast<float>(p.flow_gain * s.flow_colour(s.noise.next()) *
                                             (alive * p.flow_floor + static_cast<double>(s.swell[i])));
        const double turns0 = p.path.turns_at(t0);
        const double turns1 = p.path.turns_at(t1);
        for (const auto& order : p.orders) {
            const double from = order.per_turn * turns0;
            const double step = order.per_turn * (turns1 - turns0) / static_cast<double>(kPhasorRun);
            if (step >= kHighestShare) continue;
            Phasor z(std::polar(order.amplitude * alive, kTwoPi * (from - std::floor(from))));
            const Phasor turn(std::polar(1.0, kTwoPi * step));
            for (std::size_t i = run; i < run + kPhasorRun; ++i, z.turn(turn)) out[i] += static_cast<float>(z.im);
        }
    }
    move_on(s.sound);
    if (!s.swell.empty()) move_on(s.swell);
    s.frame += kBlockFrames;
}

EngineSoundSpec lines_only(EngineSoundSpec spec) {
    spec.strength_scatter = 0.0;
    spec.timing_scatter_deg = 0.0;
    spec.cylinder_colour = 0.0;
    spec.valve_db = spec.injector_db = spec.flow_db = spec.alternator_db = spec.belt_db = kOff_db;
    return spec;
}

}  // namespace idlehark::sim
