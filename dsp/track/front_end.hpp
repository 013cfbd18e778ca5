#pragma once

#include "dsp/track/timeline.hpp"
#include "dsp/units.hpp"

#include <algorithm>
#include <array>
#include <cstdint>
#include <vector>

namespace idlehark {

/// Low-pass and keep every n-th sample; linear phase, output i is centred on input i*n.
class Decimator {
   public:
    /// `half_length` kept samples each side of the centre; pass band up to about 0.4 of the kept rate.
    Decimator(int keep_every, int half_length);
    /// Calls `put(float)` for every kept sample.
    template <class Put>
    void process(AudioView x, Put&& put) {
        for (std::size_t i = 0; i < x.size();) {
            const std::size_t n = std::min(x.size() - i, buffer_.size() - fill_);
            std::copy_n(x.data() + i, n, buffer_.data() + fill_);
            fill_ += n;
            i += n;
            while (next_ + taps_.size() <= fill_) {
                put(dot(buffer_.data() + next_));
                next_ += keep_every_;
            }
            if (fill_ == buffer_.size()) shift();
        }
    }
    void reset();
    /// Zeros that push the last real sample through the centre.
    [[nodiscard]] std::size_t tail() const noexcept { return taps_.size(); }

   private:
    [[nodiscard]] float dot(const float* x) const noexcept;
    void shift();

    std::size_t keep_every_;
    std::size_t half_;
    std::vector<float> taps_;  ///< padded to a multiple of 8 for the inner loop
    std::vector<float> buffer_;
    std::size_t fill_ = 0;
    std::size_t next_ = 0;
};

/// The three signals that the tracker works on.
struct Signals {
    static constexpr std::size_t kEnvelopes = 2;
    Timeline mid;  ///< 0..about 0.8 kHz at 2 to 3 kHz: the lines themselves
    /// Log power of two upper bands (above 1.6 kHz, above 4.5 kHz) at about 1 kHz: small microphones lose the bass, yet
    /// the firing still beats in everything the engine radiates above.
    std::array<Timeline, kEnvelopes> envelope;

    template <class Act>
    void each(Act&& act) {
        act(mid);
        for (auto& e : envelope) act(e);
    }
    /// Up to here all three are known.
    [[nodiscard]] double until_s() const {
        double until = mid.time_s(mid.end());
        for (const auto& e : envelope) until = std::min(until, e.time_s(e.end()));
        return until;
    }
    void forget_before(double time_s) {
        each([time_s](Timeline& t) { t.forget_before(t.index_at(time_s)); });
    }
};

/// The first room of the tracker: one microphone into the three signals.
class FrontEnd {
   public:
    explicit FrontEnd(double sample_rate_hz);
    void process(AudioView x);
    /// Pushes the filters' tails out at the end of a recording.
    void flush();
    void reset();

    Signals signals;
    std::uint64_t samples = 0, not_finite_samples = 0, clipped_samples = 0;

   private:
    struct HighPass {  ///< second order; y = b0 x + z1, z1 = c1 x - a1 z1 + z2, z2 = c2 x - a2 z1
        float b0, c1, c2, a1, a2;
        float z1 = 0.F, z2 = 0.F;
    };
    static HighPass high_pass(double cutoff_hz, double rate_hz);
    void through(AudioView x);
    void envelopes(AudioView x);
    void clean_and_count(AudioView x);

    double rate_hz_;
    Decimator to_low_, to_mid_;
    std::array<HighPass, Signals::kEnvelopes> filter_;
    std::size_t envelope_block_;
    std::size_t in_block_ = 0;
    std::array<float, Signals::kEnvelopes> power_{};
    std::uint64_t clip_run_ = 0;
    std::vector<float> clean_;
};

}  // namespace idlehark
