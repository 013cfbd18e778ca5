#include "dsp/sim/disturbers.hpp"

#include "dsp/sim/filter.hpp"
#include "dsp/sim/phasor.hpp"
#include "dsp/sim/random.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <string_view>

namespace idlehark::sim {

namespace {

constexpr double kTwoPi = 2.0 * std::numbers::pi;
constexpr double kHighestShare = 0.45;  // of the sample rate

/// Makes a sound one sample at a time from a Voice: constructed from (spec, rate, seed), `double next()`.
template <class Spec, class Voice>
class SampleSource final : public Source {
   public:
    SampleSource(const Spec& spec, double rate_hz, std::uint64_t seed)
        : Source(rate_hz), spec_(spec), seed_(seed), voice_(spec, rate_hz, seed) {}

   private:
    void make_block(std::span<float> out) override {
        for (float& v : out) v = static_cast<float>(voice_.next());
    }
    void rewind() override { voice_ = Voice(spec_, sample_rate_hz(), seed_); }

    Spec spec_;
    std::uint64_t seed_;
    Voice voice_;
};

/// Slowly changing first-order noise of standard deviation 1, stepped every kSlowFrames samples.
class SlowNoise {
   public:
    SlowNoise(Random random, double rate_hz, double time_s)
        : random_(random),
          keep_(std::exp(-static_cast<double>(kSlowFrames) / (rate_hz * time_s))),
          value_(gaussian(random_)) {}
    double next() {
        if (++count_ == kSlowFrames) {
            count_ = 0;
            value_ = keep_ * value_ + std::sqrt(1.0 - keep_ * keep_) * gaussian(random_);
        }
        return value_;
    }

   private:
    static constexpr int kSlowFrames = 32;
    Random random_;
    double keep_;
    double value_;
    int count_ = 0;
};

/// Goes round once per cycle of a tone; harmonics by the Chebyshev recurrence sin kx = 2 cos x sin (k-1)x - sin (k-2)x.
class Phase {
   public:
    void advance(double cycles) {
        cycles_ += cycles;
        cycles_ -= std::floor(cycles_);
    }
    [[nodiscard]] double harmonics(const std::vector<double>& amplitude) const {
        const double x = kTwoPi * cycles_;
        const double twice_cosine = 2.0 * std::cos(x);
        double before = 0.0;
        double now = std::sin(x);
        double sum = 0.0;
        for (const double a : amplitude) {
            sum += a * now;
            const double after = twice_cosine * now - before;
            before = now;
            now = after;
        }
        return sum;
    }

   private:
    double cycles_ = 0.0;
};

void scale_to_unit_rms(std::vector<double>& amplitudes) {
    double power = 0.0;
    for (const double a : amplitudes) power += 0.5 * a * a;
    for (double& a : amplitudes) a /= std::sqrt(std::max(power, 1e-30));
}

class NoiseVoice {
   public:
    NoiseVoice(const NoiseSpec& spec, double rate_hz, std::uint64_t seed) : noise_(sub_stream(seed, "noise")) {
        if (spec.colour == NoiseColour::white) return;
        // First-order low-passes an octave apart, each of equal power: their powers add up to 1/f within 0.5 dB between
        // the lowest corner and an eighth of the rate.
        constexpr double kLowest_hz = 20.0;
        for (double f = kLowest_hz; f < 0.25 * rate_hz; f *= 2.0) keep_.push_back(std::exp(-kTwoPi * f / rate_hz));
        state_.assign(keep_.size(), 0.0);
        // All stages hear the same noise, so the powers of the sum come from all pairs.
        double power = 0.0;
        for (const double a : keep_)
            for (const double b : keep_) power += weight(a) * weight(b) / (1.0 - a * b);
        scale_ = 1.0 / std::sqrt(power);
    }
    double next() {
        const double x = noise_.next();
        if (keep_.empty()) return x;
        double sum = 0.0;
        for (std::size_t i = 0; i < keep_.size(); ++i) sum += state_[i] = keep_[i] * state_[i] + weight(keep_[i]) * x;
        return scale_ * sum;
    }

   private:
    static double weight(double keep) { return std::sqrt(1.0 - keep); }
    FastNoise noise_;
    std::vector<double> keep_, state_;
    double scale_ = 1.0;
};

class FanVoice {
   public:
    FanVoice(const FanSpec& spec, double rate_hz, std::uint64_t seed)
        : rate_hz_(rate_hz),
          spec_(spec),
          wobble_(sub_stream(seed, "fan wobble"), rate_hz, kWobble_s),
          noise_(sub_stream(seed, "fan rush")) {
        auto random = sub_stream(seed, "fan tones");
        for (int k = 1; k <= spec.harmonics && k * spec.shaft_hz * spec.blades < kHighestShare * rate_hz; ++k)
            tones_.push_back(std::pow(k, -1.2) * uniform(random, 0.6, 1.4));
        scale_to_unit_rms(tones_);
        rush_.add(Biquad::high_pass(rate_hz, 120.0, 0.7));
        rush_.add(Biquad::low_pass(rate_hz, 1200.0, 0.6));
        rush_gain_ = std::pow(10.0, spec.rush_db / 20.0) / rush_.noise_gain(rate_hz);
    }
    double next() {
        phase_.advance(spec_.shaft_hz * spec_.blades * (1.0 + spec_.wobble_share * wobble_.next()) / rate_hz_);
        return phase_.harmonics(tones_) + rush_gain_ * rush_(noise_.next());
    }

   private:
    static constexpr double kWobble_s = 3.0;
    double rate_hz_;
    FanSpec spec_;
    SlowNoise wobble_;
    FastNoise noise_;
    std::vector<double> tones_;
    Cascade rush_;
    double rush_gain_;
    Phase phase_;
};

class HumVoice {
   public:
    HumVoice(const HumSpec& spec, double rate_hz, std::uint64_t seed) : step_(spec.mains_hz / rate_hz) {
        auto random = sub_stream(seed, "hum");
        for (int k = 1; k <= spec.harmonics && k * spec.mains_hz < kHighestShare * rate_hz; ++k)
            tones_.push_back((k % 2 == 0 ? 1.0 : 0.7) / k *
                             uniform(random, 0.5, 1.5));  // transformers hum at even ones
        scale_to_unit_rms(tones_);
    }
    double next() {
        phase_.advance(step_);
        return phase_.harmonics(tones_);
    }

   private:
    double step_;
    std::vector<double> tones_;
    Phase phase_;
};

class SpeechVoice {
   public:
    SpeechVoice(const SpeechSpec& spec, double rate_hz, std::uint64_t seed)
        : rate_hz_(rate_hz), spec_(spec), random_(sub_stream(seed, "speech")), noise_(sub_stream(seed, "breath")) {
        pitch_hz_ = spec.pitch_hz;
        begin_syllable();
    }
    double next() {
        if (t_s_ >= length_s_) begin_syllable();
        const double part = t_s_ / length_s_;
        t_s_ += 1.0 / rate_hz_;
        if (kind_ == Kind::pause) return 0.0;
        const double swell = std::sin(std::numbers::pi * part);
        if (kind_ == Kind::sibilant) return kSibilantLevel * swell * sibilant_(noise_.next());
        pitch_hz_ += (target_hz_ - pitch_hz_) / (kGlide_s * rate_hz_);
        phase_ += pitch_hz_ / rate_hz_;
        phase_ -= std::floor(phase_);
        // Flow through the vocal folds: opens smoothly, shuts abruptly; what is heard is its change.
        const double flow = phase_ < kOpen   ? 0.5 - 0.5 * std::cos(std::numbers::pi * phase_ / kOpen)
                            : phase_ < kShut ? std::cos(0.5 * std::numbers::pi * (phase_ - kOpen) / (kShut - kOpen))
                                             : 0.0;
        const double source = flow - last_flow_ + kBreath * noise_.next() * flow / rate_hz_;
        last_flow_ = flow;
        double sum = 0.0;
        for (std::size_t i = 0; i < formants_.size(); ++i) sum += kFormantLevel[i] * formants_[i](source);
        return kVoiceLevel * swell * sum * rate_hz_ / pitch_hz_;
    }

   private:
    enum class Kind { voiced, sibilant, pause };
    static constexpr double kOpen = 0.4, kShut = 0.56;  // parts of the glottal cycle
    static constexpr double kGlide_s = 0.08;
    static constexpr double kBreath = 40.0;
    static constexpr double kSibilantShare = 0.35;  // of the syllables
    static constexpr double kSibilantLevel = 2.5, kVoiceLevel = 1.2;
    static constexpr std::array kFormantLevel{1.0, 0.6, 0.3};
    // First three formants of five vowels in Hz, the usual textbook values for a man (from memory).
    static constexpr std::array<std::array<double, 3>, 5> kVowels_hz{{{730.0, 1090.0, 2440.0},
                                                                      {530.0, 1840.0, 2480.0},
                                                                      {270.0, 2290.0, 3010.0},
                                                                      {570.0, 840.0, 2410.0},
                                                                      {300.0, 870.0, 2240.0}}};

    void begin_syllable() {
        t_s_ = 0.0;
        const double usual_s = 1.0 / spec_.syllables_per_s;
        const bool sibilant_next = uniform(random_, 0.0, 1.0) < kSibilantShare && kind_ != Kind::sibilant;
        if (kind_ == Kind::voiced && syllables_left_-- <= 0) {
            kind_ = Kind::pause;
            length_s_ = uniform(random_, 0.25, 0.9);
            syllables_left_ = static_cast<int>(uniform(random_, 4.0, 11.0));
        } else if (sibilant_next) {
            kind_ = Kind::sibilant;
            length_s_ = usual_s * uniform(random_, 0.3, 0.5);
            const double f = std::min(uniform(random_, 4500.0, 7000.0), 0.4 * rate_hz_);
            sibilant_ = Biquad::band_pass(rate_hz_, f, 1.2);
        } else {
            begin_voice(usual_s);
        }
    }
    void begin_voice(double usual_s) {
        kind_ = Kind::voiced;
        length_s_ = usual_s * uniform(random_, 0.6, 1.3);
        target_hz_ = spec_.pitch_hz * std::exp(0.15 * gaussian(random_));
        const auto& vowel = kVowels_hz[std::min<std::size_t>(static_cast<std::size_t>(uniform(random_, 0.0, 5.0)), 4)];
        for (std::size_t i = 0; i < formants_.size(); ++i) {
            const double f = std::min(vowel[i] * std::exp(0.05 * gaussian(random_)), kHighestShare * rate_hz_);
            formants_[i] = Biquad::band_pass(rate_hz_, f, f / (60.0 + 0.03 * f));
        }
    }

    double rate_hz_;
    SpeechSpec spec_;
    Random random_;
    FastNoise noise_;
    Kind kind_ = Kind::pause;
    int syllables_left_ = 0;
    double t_s_ = 0.0, length_s_ = 0.0;
    double pitch_hz_ = 0.0, target_hz_ = 0.0, phase_ = 0.0, last_flow_ = 0.0;
    std::array<Biquad, 3> formants_;
    Biquad sibilant_;
};

class MusicVoice {
   public:
    MusicVoice(const MusicSpec& spec, double rate_hz, std::uint64_t seed)
        : rate_hz_(rate_hz), spec_(spec), random_(sub_stream(seed, "music")) {
        begin_beat();
    }
    double next() {
        if (t_s_ >= beat_s_) begin_beat();
        const double envelope =
            std::min({1.0, t_s_ / kAttack_s, (beat_s_ - t_s_) / kRelease_s}) * std::exp(-t_s_ / kDecay_s);
        t_s_ += 1.0 / rate_hz_;
        double sum = 0.0;
        for (auto& p : partials_) {
            p.z.turn(p.turn);
            sum += p.z.im;
        }
        return sum * std::max(0.0, envelope);
    }

   private:
    struct Partial {
        Phasor z, turn;
    };
    static constexpr double kAttack_s = 0.008, kRelease_s = 0.03, kDecay_s = 0.7;
    static constexpr int kPartials = 6;

    void begin_beat() {
        t_s_ = 0.0;
        beat_s_ = 60.0 / spec_.beats_per_min * (uniform(random_, 0.0, 1.0) < 0.3 ? 0.5 : 1.0);
        if (beat_++ % 4 == 0) {
            constexpr std::array kRoots{0, 5, 7, -3, 2};  // semitones
            root_ = kRoots[std::min<std::size_t>(static_cast<std::size_t>(uniform(random_, 0.0, 5.0)), 4)];
        }
        constexpr std::array kScale{0, 2, 4, 5, 7, 9, 11};
        const int melody = kScale[std::min<std::size_t>(static_cast<std::size_t>(uniform(random_, 0.0, 7.0)), 6)];
        partials_.clear();
        add_note(root_ - 24, 1.0);
        for (const int third : {0, 4, 7}) add_note(root_ + third - 12, 0.5);
        add_note(melody, 0.8);
    }
    void add_note(int semitones, double level) {
        const double f = spec_.tuning_hz * std::pow(2.0, (semitones - 9) / 12.0);
        for (int k = 1; k <= kPartials && k * f < kHighestShare * rate_hz_; ++k)
            partials_.push_back({Phasor(std::polar(level * std::pow(k, -1.3), uniform(random_, 0.0, kTwoPi))),
                                 Phasor(std::polar(1.0, kTwoPi * k * f / rate_hz_))});
    }

    double rate_hz_;
    MusicSpec spec_;
    Random random_;
    std::vector<Partial> partials_;
    double t_s_ = 0.0, beat_s_ = 0.0;
    int beat_ = 0, root_ = 0;
};

/// A few modes struck at once.
class Ring {
   public:
    Ring(double rate_hz, Random random, int modes, double low_hz, double high_hz, double decay_s) {
        for (int i = 0; i < modes; ++i) {
            const double f =
                std::min(low_hz * std::pow(high_hz / low_hz, uniform(random, 0.0, 1.0)), kHighestShare * rate_hz);
            const double keep = std::exp(-1.0 / (decay_s * uniform(random, 0.5, 1.5) * rate_hz));
            turns_.emplace_back(std::polar(keep, kTwoPi * f / rate_hz));
        }
        states_.resize(turns_.size());
    }
    void strike(double strength) {
        for (auto& z : states_) z.re += strength / static_cast<double>(states_.size());
        heard_ = true;
    }
    double next() {
        if (!heard_) return 0.0;
        double sum = 0.0;
        double power = 0.0;
        for (std::size_t i = 0; i < states_.size(); ++i) {
            states_[i].turn(turns_[i]);
            sum += states_[i].im;
            power += states_[i].re * states_[i].re + states_[i].im * states_[i].im;
        }
        heard_ = power > kInaudible;
        return sum;
    }

   private:
    static constexpr double kInaudible = 1e-14;
    std::vector<Phasor> turns_, states_;
    bool heard_ = false;
};

class SprayVoice {
   public:
    SprayVoice(const SprayCanSpec& spec, double rate_hz, std::uint64_t seed)
        : rate_hz_(rate_hz),
          spec_(spec),
          noise_(sub_stream(seed, "hiss")),
          flutter_(sub_stream(seed, "flutter"), rate_hz, kFlutter_s),
          nozzle_(rate_hz, sub_stream(seed, "nozzle"), 5, 1500.0, 9000.0, 1.5e-3) {
        // Fourth-order skirts, then a broad maximum that differs from can to can.
        auto random = sub_stream(seed, "can");
        for (const double q : {0.54, 1.31}) hiss_.add(Biquad::high_pass(rate_hz, kHissBand.low_hz, q));
        if (kHissBand.high_hz < kHighestShare * rate_hz)
            for (const double q : {0.54, 1.31}) hiss_.add(Biquad::low_pass(rate_hz, kHissBand.high_hz, q));
        const double f = std::min(uniform(random, 4500.0, 9000.0), 0.4 * rate_hz);
        hiss_.add(Biquad::peak(rate_hz, f, 1.0, uniform(random, 0.0, 6.0)));
        gain_ = 1.0 / hiss_.noise_gain(rate_hz);
    }
    double next() {
        const double t = static_cast<double>(frame_++) / rate_hz_;
        while (current_ < spec_.sprays.size() &&
               t > spec_.sprays[current_].time_s + spec_.sprays[current_].duration_s + kRelease_s) {
            ++current_;
            struck_ = false;
        }
        const double flutter = flutter_.next();
        double hiss = 0.0;
        if (current_ < spec_.sprays.size()) {
            const auto& s = spec_.sprays[current_];
            const double since = t - s.time_s;
            if (since >= 0.0) {
                if (!struck_) nozzle_.strike(spec_.click * s.level);
                struck_ = true;
                const double left = s.duration_s + kRelease_s - since;
                const double level = s.level * std::min({1.0, since / spec_.onset_s, left / kRelease_s});
                hiss = gain_ * level * std::max(0.0, 1.0 + spec_.flutter_share * flutter) * hiss_(noise_.next());
            }
        }
        return hiss + nozzle_.next();
    }

   private:
    static constexpr double kFlutter_s = 0.05;
    static constexpr double kRelease_s = 0.03;
    double rate_hz_;
    SprayCanSpec spec_;
    FastNoise noise_;
    SlowNoise flutter_;
    Ring nozzle_;
    Cascade hiss_;
    double gain_;
    std::uint64_t frame_ = 0;
    std::size_t current_ = 0;
    bool struck_ = false;
};

class KnockVoice {
   public:
    KnockVoice(const KnockSpec& spec, double rate_hz, std::uint64_t seed)
        : rate_hz_(rate_hz), spec_(spec), ring_(rate_hz, sub_stream(seed, "knock"), 9, 300.0, 7000.0, 0.03) {}
    double next() {
        const double t = static_cast<double>(frame_++) / rate_hz_;
        for (; next_ < spec_.times_s.size() && t >= spec_.times_s[next_]; ++next_) ring_.strike(kPeak);
        return ring_.next();
    }

   private:
    static constexpr double kPeak = 10.0;  // a knock stands far above its RMS
    double rate_hz_;
    KnockSpec spec_;
    Ring ring_;
    std::uint64_t frame_ = 0;
    std::size_t next_ = 0;
};

}  // namespace

std::unique_ptr<Source> make_source(const NoiseSpec& s, double rate_hz, std::uint64_t seed) {
    return std::make_unique<SampleSource<NoiseSpec, NoiseVoice>>(s, rate_hz, seed);
}
std::unique_ptr<Source> make_source(const FanSpec& s, double rate_hz, std::uint64_t seed) {
    return std::make_unique<SampleSource<FanSpec, FanVoice>>(s, rate_hz, seed);
}
std::unique_ptr<Source> make_source(const HumSpec& s, double rate_hz, std::uint64_t seed) {
    return std::make_unique<SampleSource<HumSpec, HumVoice>>(s, rate_hz, seed);
}
std::unique_ptr<Source> make_source(const SpeechSpec& s, double rate_hz, std::uint64_t seed) {
    return std::make_unique<SampleSource<SpeechSpec, SpeechVoice>>(s, rate_hz, seed);
}
std::unique_ptr<Source> make_source(const MusicSpec& s, double rate_hz, std::uint64_t seed) {
    return std::make_unique<SampleSource<MusicSpec, MusicVoice>>(s, rate_hz, seed);
}
std::unique_ptr<Source> make_source(const SprayCanSpec& s, double rate_hz, std::uint64_t seed) {
    return std::make_unique<SampleSource<SprayCanSpec, SprayVoice>>(s, rate_hz, seed);
}
std::unique_ptr<Source> make_source(const KnockSpec& s, double rate_hz, std::uint64_t seed) {
    return std::make_unique<SampleSource<KnockSpec, KnockVoice>>(s, rate_hz, seed);
}

double spray_can_gain(Mix& mix, const SprayCanSpec& spec, double level_db, std::uint64_t seed, double calibration_s) {
    SprayCanSpec steady = spec;
    constexpr double kSteady_s = 5.0;
    steady.sprays = {{0.0, 2.0 * kSteady_s, 1.0}};
    steady.click = 0.0;
    const double rate_hz = mix.sample_rate_hz();
    const Band band{kHissBand.low_hz, std::min(kHissBand.high_hz, kHighestShare * rate_hz)};
    const double hiss = band_rms(*make_source(steady, rate_hz, seed), band, kSteady_s);
    const double others = band_rms(mix, band, calibration_s);
    mix.restart();
    return others / hiss * std::pow(10.0, level_db / 20.0);
}

void add_spray_can(Mix& mix, const SprayCanSpec& spec, double level_db, std::uint64_t seed, double calibration_s) {
    const double gain = spray_can_gain(mix, spec, level_db, seed, calibration_s);
    mix.add(make_source(spec, mix.sample_rate_hz(), seed), gain);
}

}  // namespace idlehark::sim
