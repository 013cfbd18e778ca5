#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

/// The sums behind intervals and verdicts. All functions are pure; none keeps the data given.
/// Errors   std::invalid_argument for too few values or a parameter outside the range stated; NaN in, NaN out, except
///          that the order statistics, ranks and counts refuse NaN with std::invalid_argument.
/// Accuracy moments: the digits that double inputs allow (NIST StRD NumAcc1..4, Mavro, Michelso, Lottery, Lew);
///          distributions: 1e-12 relative in the tails down to 1e-300 unless stated.
namespace idlehark::stats {

/// Arithmetic mean, summed about the first value with compensation. At least 1 value.
[[nodiscard]] double mean(std::span<const double> x);
/// Standard deviation with n - 1. At least 2 values.
[[nodiscard]] double sample_sd(std::span<const double> x);
/// sum (x_i - m)(x_{i-1} - m) / sum (x_i - m)^2. At least 2 values that differ.
[[nodiscard]] double lag1_autocorrelation(std::span<const double> x);

/// The value below which a share 0..1 of the sorted values lies, linear between order statistics (Hyndman & Fan 7).
[[nodiscard]] double quantile(std::span<const double> x, double share);
[[nodiscard]] double median(std::span<const double> x);
/// Median of all but the i-th. At least 2 values.
[[nodiscard]] double median_of_others(std::span<const double> x, std::size_t i);
/// Median of |x - median|; times `kMadToSd` it estimates the standard deviation of Gaussian data.
[[nodiscard]] double median_absolute_deviation(std::span<const double> x);
inline constexpr double kMadToSd = 1.482602218505602;  ///< 1 / normal_quantile(0.75)

[[nodiscard]] double normal_cdf(double z) noexcept;
inline constexpr double kTwoSided95 = 1.959963984540054;  ///< normal_quantile(0.975)
/// Inverse of `normal_cdf`; p in (0, 1), ends give -+infinity.
[[nodiscard]] double normal_quantile(double p);
/// Student's t with any real df >= 1; more than 1e7 count as 1e7.
[[nodiscard]] double student_t_cdf(double t, double df);
[[nodiscard]] double student_t_quantile(double p, double df);

enum class Tail { both, upper, lower };

/// Share of the sign patterns of `d` whose sum is at least as extreme as the one observed (itself included). Exact up
/// to 20 values; above, `samples` random patterns from `seed`, counted as (1 + hits) / (1 + samples). At least 1 value.
[[nodiscard]] double sign_flip_p(std::span<const double> d, Tail tail = Tail::both, std::uint64_t seed = 1,
                                 int samples = 100000);

struct MannWhitney {
    double u;  ///< pairs in which the first sample is larger, ties count one half
    double p;  ///< exact over all splits of the pooled mid-ranks, so ties are allowed
};
/// Exact Mann-Whitney U. 1..100 values in each sample.
[[nodiscard]] MannWhitney mann_whitney(std::span<const double> first, std::span<const double> second,
                                       Tail tail = Tail::both);

/// Holm's step-down: family-wise corrected p-values in the order given.
[[nodiscard]] std::vector<double> holm(std::span<const double> p);

struct Interval {
    double low, high;
};
/// 95 % interval of a share `hits` of `n` by Wilson's score (E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209). n > 0;
/// neither need be whole: counts that carry weights.
[[nodiscard]] Interval wilson_interval(double hits, double n);

struct WaldBounds {
    double accept;  ///< at or below this log likelihood ratio: nothing there
    double reject;  ///< at or above it: it is there
};
/// Wald's bounds for error rates alpha (false alarm) and beta (miss), both in (0, 1) with alpha + beta < 1:
/// ln(beta / (1 - alpha)) and ln((1 - beta) / alpha).
[[nodiscard]] WaldBounds wald_bounds(double alpha, double beta);

}  // namespace idlehark::stats
