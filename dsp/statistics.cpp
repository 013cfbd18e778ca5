#include "dsp/statistics.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <limits>
#include <numbers>
#include <numeric>
#include <random>
#include <stdexcept>
#include <string>

namespace idlehark::stats {
namespace {

constexpr double kInfinity = std::numeric_limits<double>::infinity();

void need(bool holds, const char* what) {
    if (!holds) throw std::invalid_argument(what);
}

/// Neumaier's compensated sum.
class Sum {
   public:
    void add(double v) noexcept {
        const double t = sum_ + v;
        rest_ += std::abs(sum_) >= std::abs(v) ? (sum_ - t) + v : (v - t) + sum_;
        sum_ = t;
    }
    [[nodiscard]] double value() const noexcept { return sum_ + rest_; }

   private:
    double sum_ = 0.0;
    double rest_ = 0.0;
};

/// Values less their mean; differences to the first value come first, so that a large common offset costs no digits.
std::vector<double> deviations(std::span<const double> x) {
    Sum sum;
    for (const double v : x) sum.add(v - x[0]);
    const double shift = sum.value() / static_cast<double>(x.size());
    std::vector<double> d(x.size());
    std::transform(x.begin(), x.end(), d.begin(), [&](double v) { return (v - x[0]) - shift; });
    return d;
}

double sum_of_products(std::span<const double> a, std::span<const double> b) {
    Sum sum;
    for (std::size_t i = 0; i < std::min(a.size(), b.size()); ++i) sum.add(a[i] * b[i]);
    return sum.value();
}

void need_numbers(std::span<const double> x) {
    need(std::none_of(x.begin(), x.end(), [](double v) { return std::isnan(v); }), "not a number among the values");
}

/// ln(Gamma(a + 1/2) / Gamma(a)); lgamma's difference loses its digits for large a, the series in 1/a does not.
double log_gamma_half_step(double a) {
    if (a < 40.0) return std::lgamma(a + 0.5) - std::lgamma(a);
    const double r2 = 1.0 / (a * a);
    return 0.5 * std::log(a) - (1.0 / 8.0 - r2 * (1.0 / 192.0 - r2 * (1.0 / 640.0 - r2 * 17.0 / 14336.0))) / a;
}

/// Continued fraction of the incomplete beta function, 26.5.8 of Abramowitz & Stegun (from memory), by Lentz's method.
/// Converges fast for x < (a + 1) / (a + b + 2).
double beta_fraction(double a, double b, double x) {
    const auto away_from_zero = [](double v) { return std::abs(v) < 1e-300 ? 1e-300 : v; };
    double c = 1.0;
    double d = 1.0 / away_from_zero(1.0 - (a + b) * x / (a + 1.0));
    double fraction = d;
    for (int m = 1; m <= 20000; ++m) {
        const double even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m));
        d = 1.0 / away_from_zero(1.0 + even * d);
        c = away_from_zero(1.0 + even / c);
        fraction *= d * c;
        const double odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1));
        d = 1.0 / away_from_zero(1.0 + odd * d);
        c = away_from_zero(1.0 + odd / c);
        fraction *= d * c;
        if (std::abs(d * c - 1.0) < 1e-16) break;
    }
    return fraction;
}

/// P(T > t) for t >= 0: half the incomplete beta function I_x(df/2, 1/2) at x = df / (df + t^2), y = 1 - x.
double student_t_upper(double t, double df) {
    if (t == 0.0) return 0.5;
    if (std::isinf(t)) return 0.0;
    const double a = 0.5 * df;
    const double ratio = t * t / df;
    const double log_x = -std::log1p(ratio);
    const double x = 1.0 / (1.0 + ratio);
    const double y = ratio < 1.0 ? ratio / (1.0 + ratio) : 1.0 / (1.0 + 1.0 / ratio);
    const double front = std::exp(a * log_x + 0.5 * std::log(y) + log_gamma_half_step(a)) / std::sqrt(std::numbers::pi);
    if (x < (a + 1.0) / (a + 2.5)) return 0.5 * front * beta_fraction(a, 0.5, x) / a;
    return 0.5 - front * beta_fraction(0.5, a, y);
}

double student_t_density(double t, double df) {
    return std::exp(log_gamma_half_step(0.5 * df) - 0.5 * (df + 1.0) * std::log1p(t * t / df)) /
           std::sqrt(df * std::numbers::pi);
}

/// Beyond this the distribution is taken as that of this df; the quantile z is then off by (z^3 + z) / 4e7.
constexpr double kMostDf = 1e7;

bool as_extreme(double value, double observed, double slack, Tail tail) {
    switch (tail) {
        case Tail::upper:
            return value >= observed - slack;
        case Tail::lower:
            return value <= observed + slack;
        case Tail::both:
            break;
    }
    return std::abs(value) >= std::abs(observed) - slack;
}

}  // namespace

double mean(std::span<const double> x) {
    need(!x.empty(), "mean: no values");
    Sum sum;
    for (const double v : x) sum.add(v - x[0]);
    return x[0] + sum.value() / static_cast<double>(x.size());
}

double sample_sd(std::span<const double> x) {
    need(x.size() >= 2, "sample_sd: fewer than 2 values");
    const auto d = deviations(x);
    return std::sqrt(sum_of_products(d, d) / static_cast<double>(d.size() - 1));
}

double lag1_autocorrelation(std::span<const double> x) {
    need(x.size() >= 2, "lag1_autocorrelation: fewer than 2 values");
    const auto d = deviations(x);
    const double power = sum_of_products(d, d);
    need(power != 0.0, "lag1_autocorrelation: the values are all equal");
    return sum_of_products(std::span(d).subspan(1), d) / power;
}

double quantile(std::span<const double> x, double share) {
    need(!x.empty(), "quantile: no values");
    need(share >= 0.0 && share <= 1.0, "quantile: share outside 0..1");
    need_numbers(x);
    std::vector<double> v(x.begin(), x.end());
    const double place = share * static_cast<double>(v.size() - 1);
    const auto low = static_cast<std::size_t>(place);
    const double part = place - static_cast<double>(low);
    const auto at = v.begin() + static_cast<std::ptrdiff_t>(low);
    std::nth_element(v.begin(), at, v.end());
    if (part == 0.0) return *at;
    const double next = *std::min_element(at + 1, v.end());
    return std::lerp(*at, next, part);
}

double median(std::span<const double> x) { return quantile(x, 0.5); }

double median_of_others(std::span<const double> x, std::size_t i) {
    std::vector<double> others(x.begin(), x.end());
    others.erase(others.begin() + static_cast<std::ptrdiff_t>(i));
    return median(others);
}

double median_absolute_deviation(std::span<const double> x) {
    const double m = median(x);
    std::vector<double> d(x.size());
    std::transform(x.begin(), x.end(), d.begin(), [m](double v) { return std::abs(v - m); });
    return median(d);
}

double normal_cdf(double z) noexcept { return 0.5 * std::erfc(-z / std::numbers::sqrt2); }

double normal_quantile(double p) {
    need(p >= 0.0 && p <= 1.0, "normal_quantile: p outside 0..1");
    if (p == 0.0 || p == 1.0) return p == 0.0 ? -kInfinity : kInfinity;
    if (p > 0.5) return -normal_quantile(1.0 - p);
    // Start: Abramowitz & Stegun 26.2.23 (from memory; only the start, so its digits do not matter). Then Newton's
    // step on the logarithm of the tail, which stays well scaled however small p is.
    const double t = std::sqrt(-2.0 * std::log(p));
    double z =
        -(t - (2.515517 + t * (0.802853 + t * 0.010328)) / (1.0 + t * (1.432788 + t * (0.189269 + t * 0.001308))));
    for (int i = 0; i < 6; ++i) {
        const double tail = normal_cdf(z);
        const double density = std::exp(-0.5 * z * z) / std::sqrt(2.0 * std::numbers::pi);
        const double step = std::log(tail / p) * tail / density;
        z -= step;
        if (std::abs(step) <= 1e-15 * std::abs(z)) break;
    }
    return z;
}

double student_t_cdf(double t, double df) {
    need(df >= 1.0, "student_t_cdf: df below 1");
    if (std::isnan(t)) return t;
    df = std::min(df, kMostDf);
    return t > 0.0 ? 1.0 - student_t_upper(t, df) : student_t_upper(-t, df);
}

double student_t_quantile(double p, double df) {
    need(p >= 0.0 && p <= 1.0, "student_t_quantile: p outside 0..1");
    need(df >= 1.0, "student_t_quantile: df below 1");
    df = std::min(df, kMostDf);
    if (p < 0.5) return -student_t_quantile(1.0 - p, df);
    const double tail = 1.0 - p;
    if (tail == 0.0) return kInfinity;
    if (tail == 0.5) return 0.0;
    // Newton's step kept inside a bracket that shrinks; t of df 1 has the heaviest tail, so it bounds all others.
    double low = 0.0;
    double high = 1.0001 / std::tan(std::numbers::pi * tail);
    double t = std::min(high, -normal_quantile(tail));
    for (int i = 0; i < 200; ++i) {
        const double excess = student_t_upper(t, df) - tail;
        (excess > 0.0 ? low : high) = t;
        double next = t + excess / student_t_density(t, df);
        if (!(next > low && next < high)) next = 0.5 * (low + high);
        if (std::abs(next - t) <= 2e-16 * std::abs(t)) break;
        t = next;
    }
    return t;
}

double sign_flip_p(std::span<const double> d, Tail tail, std::uint64_t seed, int samples) {
    need(!d.empty(), "sign_flip_p: no values");
    need(samples >= 1, "sign_flip_p: samples below 1");
    need_numbers(d);
    Sum observed_sum;
    double size = 0.0;
    for (const double v : d) {
        observed_sum.add(v);
        size += std::abs(v);
    }
    const double observed = observed_sum.value();
    const double slack = 1e-9 * size;  // ties must count as ties although the running sums round
    std::uint64_t hits = 0;
    if (d.size() <= 20) {
        const std::uint64_t patterns = std::uint64_t{1} << d.size();
        std::vector<double> sign(d.size(), 1.0);
        double sum = observed;
        for (std::uint64_t k = 1;; ++k) {  // Gray code: one sign changes at a time
            hits += as_extreme(sum, observed, slack, tail);
            if (k == patterns) break;
            const auto i = static_cast<std::size_t>(std::countr_zero(k));
            sign[i] = -sign[i];
            sum += 2.0 * sign[i] * d[i];
        }
        return static_cast<double>(hits) / static_cast<double>(patterns);
    }
    std::mt19937_64 random(seed);
    for (int s = 0; s < samples; ++s) {
        double sum = 0.0;
        std::uint64_t bits = 0;
        for (std::size_t i = 0; i < d.size(); ++i, bits >>= 1) {
            if (i % 64 == 0) bits = random();
            sum += (bits & 1) ? d[i] : -d[i];
        }
        hits += as_extreme(sum, observed, slack, tail);
    }
    return (1.0 + static_cast<double>(hits)) / (1.0 + samples);
}

MannWhitney mann_whitney(std::span<const double> first, std::span<const double> second, Tail tail) {
    const std::size_t n1 = first.size();
    const std::size_t n2 = second.size();
    need(n1 >= 1 && n2 >= 1 && n1 <= 100 && n2 <= 100, "mann_whitney: a sample outside 1..100 values");
    need_numbers(first);
    need_numbers(second);
    std::vector<double> pooled(first.begin(), first.end());
    pooled.insert(pooled.end(), second.begin(), second.end());
    const auto below_twice = [&](double v, std::span<const double> among) {  // 2 x (smaller + half the equal)
        std::size_t n = 0;
        for (const double w : among) n += v > w ? 2u : v == w ? 1u : 0u;
        return n;
    };
    std::size_t u_twice = 0;
    for (const double v : first) u_twice += below_twice(v, second);
    // Number of ways to choose n1 of the pooled mid-ranks with a given sum, by adding one value at a time.
    std::vector<std::size_t> rank_twice;
    rank_twice.reserve(pooled.size());
    for (const double v : pooled) rank_twice.push_back(below_twice(v, pooled));  // 2 x mid-rank - 1
    const std::size_t most = std::accumulate(rank_twice.begin(), rank_twice.end(), std::size_t{0});
    std::vector<std::vector<double>> ways(n1 + 1, std::vector<double>(most + 1, 0.0));
    ways[0][0] = 1.0;
    std::size_t reach = 0;
    for (std::size_t i = 0; i < pooled.size(); ++i) {
        reach += rank_twice[i];
        for (std::size_t k = std::min(i + 1, n1); k >= 1; --k)
            for (std::size_t s = reach; s >= rank_twice[i]; --s) {
                ways[k][s] += ways[k - 1][s - rank_twice[i]];
                if (s == 0) break;
            }
    }
    // Doubled rank sum of a choice = 2 U + n1^2 (every value of the choice is compared with the choice itself too).
    const double centre = static_cast<double>(n1 * n2);  // doubled mean of U
    const double observed = static_cast<double>(u_twice) - centre;
    double all = 0.0;
    double extreme = 0.0;
    for (std::size_t s = 0; s <= most; ++s) {
        const double value = static_cast<double>(s) - static_cast<double>(n1 * n1) - centre;
        all += ways[n1][s];
        if (as_extreme(value, observed, 0.25, tail)) extreme += ways[n1][s];
    }
    return {.u = 0.5 * static_cast<double>(u_twice), .p = extreme / all};
}

std::vector<double> holm(std::span<const double> p) {
    need_numbers(p);
    std::vector<std::size_t> order(p.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return p[a] < p[b]; });
    std::vector<double> corrected(p.size());
    double largest = 0.0;
    for (std::size_t k = 0; k < order.size(); ++k) {
        largest = std::max(largest, std::min(1.0, p[order[k]] * static_cast<double>(order.size() - k)));
        corrected[order[k]] = largest;
    }
    return corrected;
}

Interval wilson_interval(double hits, double n) {
    need(n > 0.0 && hits >= 0.0 && hits <= n, "wilson_interval: hits of 0..n, n above 0");
    constexpr double z = kTwoSided95;
    const double p = hits / n;
    const double middle = (p + z * z / (2.0 * n)) / (1.0 + z * z / n);
    const double half = z / (1.0 + z * z / n) * std::sqrt(p * (1.0 - p) / n + z * z / (4.0 * n * n));
    return {std::max(0.0, middle - half), std::min(1.0, middle + half)};
}

WaldBounds wald_bounds(double alpha, double beta) {
    need(alpha > 0.0 && beta > 0.0 && alpha + beta < 1.0, "wald_bounds: alpha, beta above 0 with a sum below 1");
    return {.accept = std::log(beta / (1.0 - alpha)), .reject = std::log((1.0 - beta) / alpha)};
}

}  // namespace idlehark::stats
