#pragma once

// Sound scenes for the finder of spray-can hiss: an engine made apart from dsp/sim, hiss of many shapes, disturbers.
// Truth by construction; seeded; the same seed gives the same engine at every sampling rate in kind, not in samples.

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstdint>
#include <numbers>
#include <random>
#include <string>
#include <vector>

namespace hiss_scenes {

using Sound = std::vector<double>;

struct Random {
    std::mt19937_64 engine;
    explicit Random(std::uint64_t seed) : engine(seed) {}
    double uniform(double a, double b) { return std::uniform_real_distribution<double>(a, b)(engine); }
    double gauss() { return normal(engine); }
    std::normal_distribution<double> normal{0.0, 1.0};
};

/// Second-order section, coefficients by the usual bilinear design (R. Bristow-Johnson's published formulas).
struct Biquad {
    double b0, b1, b2, a1, a2;
    double s1 = 0.0, s2 = 0.0;
    double operator()(double x) {
        const double y = b0 * x + s1;
        s1 = b1 * x - a1 * y + s2;
        s2 = b2 * x - a2 * y;
        return y;
    }
    enum Kind { low_pass, high_pass, band_pass };
    Biquad(Kind kind, double f_hz, double q, double rate_hz) {
        const double w = 2.0 * std::numbers::pi * std::min(f_hz, 0.47 * rate_hz) / rate_hz;
        const double c = std::cos(w);
        const double alpha = std::sin(w) / (2.0 * q);
        const double a0 = 1.0 + alpha;
        if (kind == low_pass)
            b0 = b2 = (1.0 - c) / 2.0 / a0, b1 = (1.0 - c) / a0;
        else if (kind == high_pass)
            b0 = b2 = (1.0 + c) / 2.0 / a0, b1 = -(1.0 + c) / a0;
        else
            b0 = alpha / a0, b1 = 0.0, b2 = -alpha / a0;
        a1 = -2.0 * c / a0;
        a2 = (1.0 - alpha) / a0;
    }
};

/// Mean power above 2 kHz.
inline double upper_power(const Sound& x, double rate_hz, std::size_t from = 0, std::size_t to = SIZE_MAX) {
    Biquad h1(Biquad::high_pass, 2000.0, 0.54, rate_hz);
    Biquad h2(Biquad::high_pass, 2000.0, 1.31, rate_hz);
    double sum = 0.0;
    to = std::min(to, x.size());
    for (std::size_t i = from; i < to; ++i) {
        const double y = h2(h1(x[i]));
        sum += y * y;
    }
    return sum / static_cast<double>(std::max<std::size_t>(1, to - from));
}

struct EngineSound {
    double seconds = 60.0;
    double rate_hz = 48000.0;
    std::uint64_t seed = 1;
    bool misfire_cycles = false;  ///< one cylinder drops out for a second or two, again and again
    bool blips = false;           ///< speed runs up by 100..400 rpm now and then
};

/// Firings with wander and cycle-to-cycle spread: decaying noise through resonances over a steady floor, low lines,
/// valve clicks. Depth of the firing modulation, fall of the spectrum and cylinder count vary with the seed.
inline Sound engine_sound(const EngineSound& s) {
    Random r(s.seed);
    const auto n = static_cast<std::size_t>(s.seconds * s.rate_hz);
    constexpr std::array<int, 5> kCylinders{3, 4, 5, 6, 8};
    const int cylinders = kCylinders[s.seed % kCylinders.size()];
    const double idle_rpm = r.uniform(650.0, 950.0);
    const double decay_s = r.uniform(0.005, 0.02);
    const double floor = r.uniform(0.15, 0.8);
    const double hunt_rpm = r.uniform(0.0, 15.0);
    const double hunt_hz = r.uniform(0.15, 0.5);
    std::vector<double> strength(static_cast<std::size_t>(cylinders));
    for (double& v : strength) v = 1.0 + 0.15 * r.gauss();
    Sound envelope(n, floor);
    Sound thump(n, 0.0);
    double blip_until = -1.0, next_blip = r.uniform(5.0, 15.0), blip_rpm = 0.0, wander = 0.0, speed_up = 0.0;
    double miss_until = -1.0, next_miss = r.uniform(3.0, 8.0);
    int k = 0;
    for (double t = 0.0; t < s.seconds;) {
        wander = 0.9 * wander + 2.0 * r.gauss();
        if (s.blips && t > next_blip) {
            blip_until = t + r.uniform(0.6, 3.0);
            next_blip = blip_until + r.uniform(3.0, 10.0);
            blip_rpm = r.uniform(100.0, 500.0);
        }
        const double cycle_s = 120.0 / (idle_rpm + speed_up) / cylinders;
        speed_up += ((t < blip_until ? blip_rpm : 0.0) - speed_up) * std::min(1.0, cycle_s / 0.35);
        const double rpm = idle_rpm + wander + speed_up + hunt_rpm * std::sin(2.0 * std::numbers::pi * hunt_hz * t);
        if (s.misfire_cycles && t > next_miss) {
            miss_until = t + r.uniform(0.5, 2.5);
            next_miss = miss_until + r.uniform(0.5, 4.0);
        }
        const auto cylinder = static_cast<std::size_t>(k++ % cylinders);
        double a = strength[cylinder] * (1.0 + 0.12 * r.gauss()) * std::pow(rpm / idle_rpm, 3.0);
        if (t < miss_until && cylinder == 0) a *= 0.15;
        const auto at = static_cast<std::size_t>(t * s.rate_hz);
        const auto tail = static_cast<std::size_t>(8.0 * decay_s * s.rate_hz);
        for (std::size_t i = at; i < std::min(n, at + tail); ++i)
            envelope[i] += a * std::exp(-static_cast<double>(i - at) / (decay_s * s.rate_hz));
        if (at < n) thump[at] += a * s.rate_hz / 1000.0;
        for (int click = 0; click < 2; ++click) {  // valves, injectors: sharp, wide band
            const auto c = static_cast<std::size_t>((t + r.uniform(0.2, 0.9) * cycle_s) * s.rate_hz);
            for (std::size_t i = c; i < std::min(n, c + static_cast<std::size_t>(0.003 * s.rate_hz)); ++i)
                envelope[i] += 2.0 * std::exp(-static_cast<double>(i - c) / (0.0007 * s.rate_hz));
        }
        t += 120.0 / rpm / cylinders;
    }
    Biquad fall(Biquad::low_pass, r.uniform(900.0, 3500.0), 0.5, s.rate_hz);
    Biquad ring1(Biquad::band_pass, r.uniform(200.0, 500.0), 4.0, s.rate_hz);
    Biquad ring2(Biquad::band_pass, r.uniform(600.0, 1800.0), 6.0, s.rate_hz);
    Biquad shelf(Biquad::high_pass, 2500.0, 0.7, s.rate_hz);
    const double bright = r.uniform(0.01, 0.08);
    Sound x(n);
    for (std::size_t i = 0; i < n; ++i) {
        const double e = envelope[i] * r.gauss();
        x[i] = 0.05 * (fall(e) + 0.5 * ring1(thump[i] + e) + 0.7 * ring2(thump[i] + e) + bright * shelf(e));
    }
    return x;
}

struct Burst {
    double time_s;
    double duration_s;
};

/// One can and nozzle: band-limited noise with a peak, soft edges, pressure sagging, a hand that is not still.
/// `gain` is for a hiss power above 2 kHz of 1.
inline Sound hiss_sound(std::size_t n, double rate_hz, const std::vector<Burst>& bursts, std::uint64_t seed) {
    Random r(seed ^ 0x9e3779b97f4a7c15ULL);
    const auto heard = [&](double low_hz, double high_hz) {  // what a low rate cannot hold is not heard at all
        return std::min(r.uniform(low_hz, high_hz), 0.3 * rate_hz);
    };
    Biquad high1(Biquad::high_pass, heard(1500.0, 6000.0), 0.7, rate_hz);
    Biquad low1(Biquad::low_pass, r.uniform(5000.0, 18000.0), 0.7, rate_hz);
    Biquad peak(Biquad::band_pass, heard(3000.0, 12000.0), r.uniform(0.8, 3.0), rate_hz);
    const double peak_gain = r.uniform(0.0, 1.5);
    Sound x(n, 0.0);
    Sound steady(static_cast<std::size_t>(rate_hz));
    const auto shaped = [&] {
        const double v = low1(high1(r.gauss()));
        return v + peak_gain * peak(v);
    };
    for (double& v : steady) v = shaped();
    const double unit = 1.0 / std::sqrt(upper_power(steady, rate_hz));
    for (const Burst& b : bursts) {
        const double rise_s = r.uniform(0.01, 0.06);
        const double fall_s = r.uniform(0.01, 0.08);
        const double sag = r.uniform(0.0, 0.25);
        const double hand_hz = r.uniform(0.5, 2.0), hand = r.uniform(0.0, 0.12), phase = r.uniform(0.0, 6.28);
        const auto from = static_cast<std::size_t>(b.time_s * rate_hz);
        const auto to = std::min(n, static_cast<std::size_t>((b.time_s + b.duration_s + fall_s) * rate_hz));
        for (std::size_t i = from; i < to; ++i) {
            const double t = static_cast<double>(i - from) / rate_hz;
            const double rise = std::min(1.0, t / rise_s);
            const double fall = std::clamp((b.duration_s + fall_s - t) / fall_s, 0.0, 1.0);
            const double sway =
                1.0 - sag * t / b.duration_s + hand * std::sin(2.0 * std::numbers::pi * hand_hz * t + phase);
            x[i] += unit * rise * fall * sway * shaped();
        }
    }
    return x;
}

/// Bursts of 0.4 to 4 s, 3 to 14 s apart, sometimes two or three close together.
inline std::vector<Burst> burst_plan(double seconds, std::uint64_t seed) {
    Random r(seed ^ 0x51ed2701ULL);
    std::vector<Burst> plan;
    double t = r.uniform(3.0, 8.0);
    while (true) {
        const double d = 0.4 * std::pow(10.0, r.uniform(0.0, 1.0));
        if (t + d + 1.5 > seconds) return plan;
        plan.push_back({t, d});
        t += d + (r.uniform(0.0, 1.0) < 0.15 ? r.uniform(0.7, 1.5) : r.uniform(3.0, 14.0));
    }
}

/// engine + hiss, the hiss `level_db` over the engine, both above 2 kHz.
inline Sound with_hiss(Sound engine, double rate_hz, const std::vector<Burst>& plan, double level_db,
                       std::uint64_t seed) {
    const double gain = std::sqrt(upper_power(engine, rate_hz) * std::pow(10.0, level_db / 10.0));
    const Sound h = hiss_sound(engine.size(), rate_hz, plan, seed);
    for (std::size_t i = 0; i < engine.size(); ++i) engine[i] += gain * h[i];
    return engine;
}

inline std::vector<float> to_samples(const Sound& x, double gain = 0.3) {
    std::vector<float> out(x.size());
    std::transform(x.begin(), x.end(), out.begin(),
                   [&](double v) { return static_cast<float>(std::clamp(gain * v, -1.0, 1.0)); });
    return out;
}

enum class Disturber { none, speed_blips, fan, speech, knocks, misfire, music, clipping, level_steps, breaks };
inline constexpr std::array<const char*, 10> kDisturberNames{
    "none", "speed blips", "fan", "speech", "knocks", "misfire", "music", "clipping", "level steps", "breaks"};

/// An engine with one disturber as loud as itself and no hiss.
inline Sound disturbed(Disturber what, double seconds, double rate_hz, std::uint64_t seed) {
    Random r(seed ^ 0xabcdef12345ULL);
    Sound x = engine_sound({.seconds = seconds,
                            .rate_hz = rate_hz,
                            .seed = seed,
                            .misfire_cycles = what == Disturber::misfire,
                            .blips = what == Disturber::speed_blips});
    double square = 0.0;
    for (const double v : x) square += v * v;
    const double rms = std::sqrt(square / static_cast<double>(x.size()));
    const double upper_rms = std::sqrt(upper_power(x, rate_hz));
    const auto n = x.size();
    const auto at = [&](double t) { return std::min(n, static_cast<std::size_t>(std::max(0.0, t) * rate_hz)); };
    const auto noise_burst = [&](double t, double d, double f_hz, double q, double gain, double edge_s) {
        Biquad shape(Biquad::band_pass, f_hz, q, rate_hz);
        const double unit = std::sqrt(q * rate_hz / (f_hz * 3.0));  // about rms 1
        for (std::size_t i = at(t); i < at(t + d); ++i) {
            const double u = static_cast<double>(i) / rate_hz - t;
            const double env = std::clamp(std::min(u, d - u) / edge_s, 0.0, 1.0);
            x[i] += gain * env * unit * shape(r.gauss());
        }
    };
    switch (what) {
        case Disturber::none:
        case Disturber::speed_blips:
        case Disturber::misfire:
            break;
        case Disturber::fan: {
            for (double t = r.uniform(4.0, 10.0); t < seconds;) {  // on for 8 to 30 s, off as long
                const double d = r.uniform(8.0, 30.0);
                noise_burst(t, d, r.uniform(800.0, 4000.0), 0.5, r.uniform(1.0, 3.0) * upper_rms, r.uniform(0.2, 1.0));
                const double tone_hz = r.uniform(200.0, 600.0);
                for (std::size_t i = at(t); i < at(t + d); ++i)
                    x[i] += 0.5 * rms * std::sin(2.0 * std::numbers::pi * tone_hz * static_cast<double>(i) / rate_hz);
                t += d + r.uniform(8.0, 30.0);
            }
            break;
        }
        case Disturber::speech: {
            for (double t = 1.0; t < seconds;) {  // phrases of syllables: sibilant or not, then a voiced vowel
                const double phrase_end = t + r.uniform(1.0, 4.0);
                double pitch_hz = r.uniform(90.0, 240.0);
                while (t < phrase_end) {
                    if (r.uniform(0.0, 1.0) < 0.4) {
                        const double d = r.uniform(0.06, 0.25);
                        noise_burst(t, d, r.uniform(3500.0, 8000.0), 1.5, r.uniform(1.0, 4.0) * upper_rms, 0.02);
                        t += d;
                    }
                    const double d = r.uniform(0.08, 0.3);
                    Biquad f1(Biquad::band_pass, r.uniform(300.0, 800.0), 5.0, rate_hz);
                    Biquad f2(Biquad::band_pass, r.uniform(900.0, 2500.0), 8.0, rate_hz);
                    Biquad f3(Biquad::band_pass, r.uniform(2500.0, 4000.0), 8.0, rate_hz);
                    pitch_hz *= r.uniform(0.93, 1.07);
                    double phase = 0.0;
                    for (std::size_t i = at(t); i < at(t + d); ++i) {
                        phase += pitch_hz / rate_hz;
                        const double pulse = phase >= 1.0 ? std::sqrt(rate_hz / pitch_hz) : 0.0;
                        phase -= std::floor(phase);
                        const double u = (static_cast<double>(i) / rate_hz - t) / d;
                        x[i] += 3.0 * rms * std::sin(std::numbers::pi * std::clamp(u, 0.0, 1.0)) *
                                (f1(pulse) + 0.6 * f2(pulse) + 0.4 * f3(pulse));
                    }
                    t += d * r.uniform(0.8, 1.2);
                }
                t += r.uniform(0.4, 2.0);
            }
            break;
        }
        case Disturber::knocks:
            for (double t = 1.0; t < seconds; t += r.uniform(0.15, 3.0))
                noise_burst(t, r.uniform(0.01, 0.15), r.uniform(800.0, 6000.0), 1.0, r.uniform(3.0, 20.0) * upper_rms,
                            0.003);
            break;
        case Disturber::music: {
            const double beat_s = r.uniform(0.35, 0.6);
            for (double t = 0.5; t < seconds; t += beat_s) {
                noise_burst(t, 0.08, 8000.0, 0.7, r.uniform(1.0, 3.0) * upper_rms, 0.01);  // hi-hat
                const int notes = 1 + static_cast<int>(r.uniform(0.0, 3.0));
                const double d = beat_s * std::floor(r.uniform(1.0, 5.0));
                for (int k = 0; k < notes; ++k) {
                    const double f_hz = 110.0 * std::pow(2.0, std::floor(r.uniform(0.0, 36.0)) / 12.0);
                    for (std::size_t i = at(t); i < at(t + d); ++i) {
                        const double u = static_cast<double>(i) / rate_hz - t;
                        double v = 0.0;
                        for (int h = 1; h <= 12 && h * f_hz < 0.45 * rate_hz; ++h)
                            v += std::sin(2.0 * std::numbers::pi * h * f_hz * u) / h;
                        x[i] += 0.5 * rms * v * std::min(1.0, u / 0.01) * std::exp(-u / 0.8) *
                                std::clamp((d - u) / 0.02, 0.0, 1.0);
                    }
                }
            }
            break;
        }
        case Disturber::clipping: {
            for (double t = 0.0; t < seconds;) {  // level comes and goes, the loud parts hit full scale hard
                const double d = r.uniform(0.5, 6.0);
                const double gain = r.uniform(0.0, 1.0) < 0.5 ? 1.0 : r.uniform(2.0, 6.0);
                for (std::size_t i = at(t); i < at(t + d); ++i) x[i] = std::clamp(gain * x[i], -2.5 * rms, 2.5 * rms);
                t += d;
            }
            break;
        }
        case Disturber::level_steps: {
            double gain = 1.0;
            for (double t = 0.0; t < seconds;) {
                const double d = r.uniform(0.4, 5.0);
                gain = std::pow(10.0, r.uniform(-12.0, 6.0) / 20.0);
                for (std::size_t i = at(t); i < at(t + d); ++i) x[i] *= gain;
                t += d;
            }
            break;
        }
        case Disturber::breaks: {  // digital zeros in between: the sound starts and ends in mid-stream
            for (double t = r.uniform(2.0, 5.0); t < seconds;) {
                const double d = r.uniform(0.3, 4.0);
                for (std::size_t i = at(t); i < at(t + d); ++i) x[i] = 0.0;
                t += d + r.uniform(0.4, 5.0);
            }
            break;
        }
    }
    return x;
}

}  // namespace hiss_scenes
