#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace idlehark::evidence {

/// The idle's own unrest as an autoregression: what the next cell will be, given the ones before, and how far it
/// misses.
struct ColouredNoise {
    std::vector<double> ar;  ///< rpm[t] - level = sum ar[k] (rpm[t-1-k] - level) + innovation
    double level_rpm = 0.0;
    double innovation_rpm = 1.0;  ///< standard deviation

    /// 1, -ar[0], -ar[1], ...: the filter that whitens.
    [[nodiscard]] std::vector<double> whitening() const;
};

/// Learns the unrest by least squares over all rows, reweighted so that gross innovations (load steps, slips of the
/// tracker) hardly count; the order up to `max_order` is the one Akaike's corrected criterion likes best.
/// `seen` 0 drops the row of that cell; its value still serves as history. Needs at least 20 seen cells.
/// A short stretch cannot tell the slow half of the spectrum: an ordinary idle (autocovariance `usual_idle`, brought to
/// the same swing over a second) counts as much as kUsualIdle_s more seconds of trace; less the longer the trace, and
/// nothing from kLongEnough_s on.
[[nodiscard]] ColouredNoise learn_noise(std::span<const double> rpm, std::span<const char> seen, int max_order,
                                        double step_s);

inline constexpr double kUsualIdle_s = 20.0;
inline constexpr double kLongEnough_s = 150.0;
/// Autocovariance of an ordinary warm idle, rpm squared: scatter from cycle to cycle (3 rpm, 0.5 s), hunting of any
/// period from 2.5 to 9 s (1.4 rpm), slow wandering (1.4 rpm, 60 s), a tracker's noise (0.5 rpm). Common practice, no
/// source.
[[nodiscard]] double usual_idle(double lag_s);
/// The same as an autoregression of `order`.
[[nodiscard]] ColouredNoise usual_noise(int order, double step_s);

/// A trace whitened by a noise model, ready to be asked how much of a given shape starts at a given cell.
/// Cells not seen are treated as unknowns of the fit (exact generalised least squares given the model), not as values.
class WhitenedTrace {
   public:
    WhitenedTrace(std::vector<double> rpm, std::vector<char> seen, ColouredNoise noise);

    /// A shape prepared for `score`: whitened once, asked many times.
    struct Probe {
        std::vector<double> shape;     ///< per rpm, starting at the cell asked for
        std::vector<double> whitened;  ///< filtered, in units of the innovation
        std::vector<double> twice;     ///< filtered forth and back, starting `order` cells early
        std::vector<double> energy;    ///< running sum of whitened squared
    };
    /// `lasting`: what the shape ends with goes on for ever; only the stretch given is looked at.
    [[nodiscard]] Probe probe(std::vector<double> shape, bool lasting = false) const;

    /// Least squares of the shape starting at `cell`, everything else being noise: estimate = score / information, with
    /// variance 1 / information. The cell may lie outside the trace; then there is little or no information.
    struct Score {
        double score = 0.0;
        double information = 0.0;
    };
    [[nodiscard]] Score score(const Probe& probe, long cell) const;

    /// Takes `amount` of the shape starting at `cell` out of the trace.
    void subtract(const Probe& probe, long cell, double amount);

    [[nodiscard]] const std::vector<double>& rpm() const noexcept { return rpm_; }  ///< unseen cells: best guess
    [[nodiscard]] const std::vector<char>& seen() const noexcept { return seen_; }
    [[nodiscard]] const std::vector<double>& innovations() const noexcept { return innovations_; }  ///< sd about 1
    [[nodiscard]] const ColouredNoise& noise() const noexcept { return noise_; }
    [[nodiscard]] std::size_t size() const noexcept { return rpm_.size(); }

   private:
    void factor_missing();
    void fill_and_whiten();
    [[nodiscard]] double missing_information(const Probe& probe, long cell) const;

    std::vector<double> rpm_;
    std::vector<char> seen_;
    ColouredNoise noise_;
    std::vector<double> filter_;
    std::vector<double> filter_autocorrelation_;
    std::vector<std::size_t> missing_;
    std::vector<double> factor_;  // banded Cholesky of the missing cells' precision, order + 1 a row
    std::vector<double> innovations_;
};

}  // namespace idlehark::evidence
