#include "dsp/sim/microphone.hpp"

#include "dsp/sim/filter.hpp"

#include <algorithm>
#include <cmath>

namespace idlehark::sim {

namespace {

constexpr double kHighestShare = 0.45;  // of the sample rate

// Phone: corner by the brief of what small microphones drop; order and ripple chosen for 45 dB at 100 Hz.
constexpr double kPhoneCorner_hz = 140.0;
constexpr int kPhoneOrder = 8;
constexpr double kPhoneRipple_db = 0.5;

// Level control: common practice of voice recorders, no source.
constexpr double kTargetRms = 0.1;
constexpr double kLevelTime_s = 1.5;
constexpr double kLargestGain = 4.0;

Cascade filters(MicrophoneKind kind, double rate_hz) {
    Cascade c;
    const auto below_edge = [&](double f) { return f < kHighestShare * rate_hz; };
    switch (kind) {
        case MicrophoneKind::flat:
            break;
        case MicrophoneKind::phone:
            add_chebyshev_high_pass(c, rate_hz, kPhoneCorner_hz, kPhoneOrder, kPhoneRipple_db);
            if (below_edge(4000.0)) c.add(Biquad::peak(rate_hz, 4000.0, 1.0, 4.0));
            break;
        case MicrophoneKind::headset:
            for (const double q : {0.541, 1.307}) c.add(Biquad::high_pass(rate_hz, 200.0, q));  // Butterworth, order 4
            if (below_edge(7000.0))
                for (const double q : {0.541, 1.307}) c.add(Biquad::low_pass(rate_hz, 7000.0, q));
            c.add(Biquad::peak(rate_hz, 2500.0, 2.0, 6.0));
            break;
        case MicrophoneKind::stethoscope:
            for (const double q : {0.541, 1.307}) c.add(Biquad::low_pass(rate_hz, 1500.0, q));
            for (const double f : {170.0, 510.0, 850.0}) c.add(Biquad::peak(rate_hz, f, 4.0, 6.0));  // tube, closed end
            break;
    }
    return c;
}

class Microphone final : public Source {
   public:
    Microphone(std::unique_ptr<Source> sound, const MicrophoneSpec& spec)
        : Source(sound->sample_rate_hz()),
          sound_(std::move(sound)),
          spec_(spec),
          filters_(filters(spec.kind, sample_rate_hz())),
          gain_(std::pow(10.0, spec.gain_db / 20.0)),
          keep_(std::exp(-1.0 / (kLevelTime_s * sample_rate_hz()))) {}

   private:
    void make_block(std::span<float> out) override {
        sound_->render(out);
        for (float& v : out) {
            double y = gain_ * filters_(static_cast<double>(v));
            if (spec_.level_control) {
                mean_square_ = keep_ * mean_square_ + (1.0 - keep_) * y * y;
                y *= std::clamp(kTargetRms / std::sqrt(mean_square_), 1.0 / kLargestGain, kLargestGain);
            }
            v = static_cast<float>(std::clamp(y, -spec_.clip_level, spec_.clip_level));
        }
    }
    void rewind() override {
        sound_->restart();
        filters_ = filters(spec_.kind, sample_rate_hz());
        mean_square_ = kTargetRms * kTargetRms;
    }

    std::unique_ptr<Source> sound_;
    MicrophoneSpec spec_;
    Cascade filters_;
    double gain_;
    double keep_;
    double mean_square_ = kTargetRms * kTargetRms;
};

}  // namespace

std::unique_ptr<Source> through_microphone(std::unique_ptr<Source> sound, const MicrophoneSpec& spec) {
    return std::make_unique<Microphone>(std::move(sound), spec);
}

}  // namespace idlehark::sim
