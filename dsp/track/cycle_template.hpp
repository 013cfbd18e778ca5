#pragma once

#include "dsp/real_fft.hpp"
#include "dsp/track/timeline.hpp"

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace idlehark {

/// A path of the engine's cycle over a segment: steps with constant speed within each. Times in seconds from the
/// segment's start, phase in cycles.
struct CyclePath {
    std::vector<double> start_s;   ///< steps + 1
    std::vector<double> phase;     ///< steps + 1, at the starts
    std::vector<double> speed_hz;  ///< steps
    std::vector<char> heard;       ///< steps: the lock stands
    [[nodiscard]] std::size_t steps() const noexcept { return speed_hz.size(); }
    void integrate() {
        phase.resize(steps() + 1);
        phase[0] = 0.0;
        for (std::size_t k = 0; k < steps(); ++k) phase[k + 1] = phase[k] + speed_hz[k] * (start_s[k + 1] - start_s[k]);
    }
};

/// One signal over a segment, whitened, and the engine's mean cycle in it.
class CycleTemplate {
   public:
    CycleTemplate(double rate_hz, double segment_s, double highest_hz, std::size_t template_points);

    /// Takes the segment that starts at `first_s`: divides it by its local floor and cuts narrow tones that lie off
    /// the comb of half orders for every cycle frequency between the two given.
    void take(const Timeline& source, double first_s, double cycle_low_hz, double cycle_high_hz);
    /// Averages the cycle along the path; keeps half orders up to `highest_hz` that stand above the noise.
    void average(const CyclePath& path, double highest_hz);
    /// Log likelihood ratios of the last average's lines, less noise's mean: of all multiples of `spacing`, and of
    /// those of them that are no multiples of p * spacing, p = 2, 3, 5, each scaled up to the full number.
    struct Support {
        double all = 0.0, without_2nd = 0.0, without_3rd = 0.0, without_5th = 0.0;
        int lines = 0;
    };
    [[nodiscard]] Support support(int spacing) const;
    /// Power over the noise of the line at any multiple of the cycle frequency, whole or not, along the path.
    [[nodiscard]] double power_over_noise(const CyclePath& path, double multiple) const;
    /// Adds, for each block of `steps_per_block` steps, the derivative of the log likelihood by the block's phase and
    /// its information.
    void compare(const CyclePath& path, std::size_t steps_per_block, std::span<double> gradient,
                 std::span<double> information);

   private:
    struct Run {  ///< the samples of one step
        std::size_t from, to;
        double at, step;  ///< template position of the first, and per sample
    };
    [[nodiscard]] Run run(const CyclePath& path, std::size_t step) const noexcept;

    double rate_hz_, highest_hz_;
    std::size_t length_, points_;
    RealFft fft_, cycle_fft_;
    double lead_s_ = 0.0;  ///< of sample 0 against the segment's start
    std::vector<float> in_, x_, floors_, group_, sums_, shape_, slope_;
    std::vector<std::complex<float>> bins_, cycle_, work_;
    std::vector<float> line_ratio_;  ///< power over noise of each half order in the last average
    double noise_ = 1.0;
};

}  // namespace idlehark
