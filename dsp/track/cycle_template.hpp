#pragma once

#include "dsp/real_fft.hpp"
#include "dsp/track/block_quantiles.hpp"
#include "dsp/track/timeline.hpp"

#include <complex>
#include <cstddef>
#include <cstdint>
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
    /// `template_points` is a power of two.
    CycleTemplate(double rate_hz, double segment_s, double highest_hz, std::size_t template_points);

    /// Takes the segment that starts at `first_s`: divides it by its local floor and cuts narrow tones that lie off
    /// the comb of half orders for every cycle frequency between the two given. Paths along it have steps that start at
    /// `starts_s`.
    void take(const Timeline& source, double first_s, std::span<const double> starts_s, double cycle_low_hz,
              double cycle_high_hz);
    /// Takes out narrow tones up to `highest_hz` that stand in what the mean cycle along the path leaves over: fans,
    /// hum, a voice. The path must be good enough for the engine's own lines to that frequency to be in the mean cycle.
    void cut_foreign_tones(const CyclePath& path, double highest_hz);
    /// Their share of what the mean cycle left over.
    [[nodiscard]] double foreign_share() const noexcept { return foreign_share_; }
    /// How many of them, mains hum apart, were found for each line of the mean cycle: below 1 beside an engine, 2 and
    /// more in music.
    [[nodiscard]] double foreign_tones_per_line() const noexcept { return foreign_tones_per_line_; }
    /// Averages the cycle along the path; keeps half orders up to `highest_hz` that stand above the noise.
    void average(const CyclePath& path, double highest_hz);
    /// Power over the noise of the lines of a longer or shorter cycle, `cycles` of the engine's: line i stands at the
    /// i / cycles-th multiple of the engine's cycle frequency. Up to `highest_hz`.
    [[nodiscard]] std::vector<float> lines_over_noise(const CyclePath& path, double cycles, double highest_hz);
    /// The lines at multiples of `every` times the cycle frequency, demodulated along the path in so many equal parts
    /// of `length_s`: [part][line], as many lines as there is room for. Returns how many samples there were.
    std::size_t line_phasors(const CyclePath& path, int every, double length_s, std::size_t parts,
                             std::span<std::complex<float>> phasors) const;
    [[nodiscard]] double noise() const noexcept { return noise_; }
    /// Lines that the last average kept, and the share of the power that they hold; after compare().
    [[nodiscard]] std::size_t lines() const noexcept { return lines_; }
    [[nodiscard]] double share() const noexcept { return cycle_power_ / (cycle_power_ + noise_); }
    /// Adds, for each block of `steps_per_block` steps, the derivative of the log likelihood by the block's phase and
    /// its information.
    void compare(const CyclePath& path, std::size_t steps_per_block, std::span<double> gradient,
                 std::span<double> information);

   private:
    /// The samples of one step. Positions in a table of the cycle are fixed-point numbers: the point in the upper half,
    /// the part of the way to the next in the lower.
    struct Run {
        std::size_t from, to;
        std::uint64_t at, step;  ///< position of the first sample, and per sample
    };
    [[nodiscard]] Run run(const CyclePath& path, std::size_t step, double points_per_cycle) const noexcept;
    /// Shares every heard sample between the two table points next to it; returns how many samples there were.
    std::size_t fold(const CyclePath& path, double cycles, std::span<float> table) const;

    double rate_hz_, highest_hz_;
    std::size_t length_, points_;
    RealFft fft_;
    BlockQuantiles floor_;
    RealFft cycle_fft_, long_fft_;
    double lead_s_ = 0.0;  ///< of sample 0 against the segment's start
    struct First {         ///< sample of a step, and how far into the step it lies
        std::size_t sample;
        double since_s;
    };
    std::vector<First> firsts_;
    std::vector<float> taper_, in_, x_, floors_, power_, left_, sums_, shape_, slope_;
    std::vector<std::complex<float>> bins_, cycle_, work_, tones_;
    struct Point {  ///< of the template: value and rise per cycle, and what both gain up to the next point
        float value, rise, value_gain, rise_gain;
    };
    std::vector<Point> template_;
    struct Sums {  ///< over the samples of a block
        float error_error = 0.F, error_rise = 0.F, error_value = 0.F, rise_rise = 0.F, rise_value = 0.F,
              value_value = 0.F;
    };
    [[nodiscard]] Sums sums_over(const Run& run) const noexcept;
    std::vector<Sums> blocks_;
    double foreign_share_ = 0.0, foreign_tones_per_line_ = 0.0;
    std::size_t lines_ = 0;
    double cycle_power_ = 0.0;
    double noise_ = 1.0;  ///< mean square of what the template leaves over
};

}  // namespace idlehark
