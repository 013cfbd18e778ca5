#include "dsp/balance/misfires.hpp"

#include "dsp/balance/ordinary_firings.hpp"
#include "dsp/statistics.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace idlehark {

namespace {

constexpr double kLeastShare = 0.5;  // of the middle cylinder's: a dead cylinder's own is no yardstick
constexpr double kRidge = 1.02;      // keeps few cycles from being fitted
constexpr double kLossUnsure = 0.3;  // of what a missing firing takes from a feature: where firings hardly scatter no
                                     // feature is to be played off against another
constexpr double kFaint = 0.75;      // a cylinder this weak is heard less surely: its own scatter is its yardstick
constexpr double kUsualShare = 0.1;  // of missing firings, where there are any
constexpr double kLeastSd = 0.1;
// Of evidence: so many scattered firings come together that healthy engines reach more than twice the logarithm that
// independent ones would, and beyond half a minute of cycles more than by chance: cylinders differ (balance_bench,
// healthy fours to twelves of 15 to 240 s, seeds from 63000).
constexpr double kWorth = 0.40, kWorthCycles = 200.0, kWorthFalls = 0.75;
constexpr double kSurely = 2e-3;  // chance under which a cylinder's own missing firings are looked at
// What cylinders differ by, however long one listens: of all firings, and of the missing ones (the same engines).
constexpr double kUnlike = 0.004, kUnlikeShare = 0.12;
constexpr double kUntold = 1.1;     // of the scatter that a weak cylinder has
constexpr double kLeastRoom = 0.2;  // between the counts of missing and of healthy firings

/// What is heard of every firing, and what would be heard of it if it were missing: cycles x cylinders, 1 for the
/// middle firing of a cylinder, 0 for the middle missing one.
struct Presence {
    Eigen::MatrixXd seen, missing;
};

std::vector<double> column(const Eigen::MatrixXd& m, Eigen::Index j) {
    return {m.col(j).data(), m.col(j).data() + m.rows()};
}

/// Rows of each cylinder's ordinary firings: its yardstick, however many others are missing.
using Ordinary = std::vector<std::vector<Eigen::Index>>;

Ordinary ordinary_rows(const Eigen::MatrixXd& strength) {
    Ordinary out(static_cast<std::size_t>(strength.cols()));
    for (Eigen::Index j = 0; j < strength.cols(); ++j) {
        const double line = ordinary_above(column(strength, j));
        for (Eigen::Index r = 0; r < strength.rows(); ++r)
            if (strength(r, j) > line) out[static_cast<std::size_t>(j)].push_back(r);
    }
    return out;
}

Eigen::VectorXd of_ordinary(const Eigen::MatrixXd& m, const Ordinary& ordinary, Eigen::Index j) {
    return m.col(j)(ordinary[static_cast<std::size_t>(j)]);
}
double middle_of_ordinary(const Eigen::MatrixXd& m, const Ordinary& ordinary, Eigen::Index j) {
    const Eigen::VectorXd v = of_ordinary(m, ordinary, j);
    return stats::median({v.data(), static_cast<std::size_t>(v.size())});
}

Presence presence(const CycleBins& cut, const SwellFit& fit, const Presence& waves,
                  const std::vector<std::size_t>& used, const Ordinary& ordinary) {
    const auto n = waves.seen.cols();
    const auto rows = waves.seen.rows();
    std::vector<Presence> features;
    for (std::size_t b = 0; b < fit.bands.size(); ++b) {
        const auto& band = fit.bands[b];
        if (!band.tells) continue;
        Eigen::MatrixXd f(rows, n);
        const double least = kLeastShare * stats::median(std::vector<double>(band.swell.data(), band.swell.data() + n));
        const auto swells = [&](std::size_t cycle, Eigen::Index from, Eigen::Index count) -> Eigen::RowVectorXd {
            const auto row = Eigen::Map<const Eigen::VectorXf>(cut.row(b, cycle), static_cast<Eigen::Index>(cut.bins));
            return band.functional.middleRows(from, count) * (row.cast<double>().array() - band.floor).matrix();
        };
        const auto here = fit.over_the_end;
        for (Eigen::Index r = 0; r < rows; ++r) {
            const auto cycle = used[static_cast<std::size_t>(r)];
            f.row(r).head(here) = swells(cycle, 0, here);
            if (here < n) f.row(r).tail(n - here) = swells(cycle + 1, here, n - here);
        }
        for (Eigen::Index j = 0; j < n; ++j) f.col(j) /= std::max(of_ordinary(f, ordinary, j).mean(), least);
        // Power is skewed; its signed root is nearer to an amplitude and to a bell.
        const auto root = [](double v) { return std::copysign(std::sqrt(std::fabs(v)), v); };
        features.push_back({f.unaryExpr(root), (f.array() - 1.0).matrix().unaryExpr(root)});
    }
    features.push_back(waves);

    // The weights that a missing firing stands out by (Fisher's discriminant, from memory).
    const auto k = static_cast<Eigen::Index>(features.size());
    Eigen::MatrixXd covariance = Eigen::MatrixXd::Zero(k, k);
    Eigen::VectorXd loss(k);
    for (Eigen::Index i = 0; i < k; ++i) {
        const auto& f = features[static_cast<std::size_t>(i)];
        loss(i) = (f.seen - f.missing).mean();
    }
    for (Eigen::Index j = 0; j < n; ++j) {
        Eigen::MatrixXd x(std::ssize(ordinary[static_cast<std::size_t>(j)]), k);
        for (Eigen::Index i = 0; i < k; ++i) {
            x.col(i) = of_ordinary(features[static_cast<std::size_t>(i)].seen, ordinary, j);
            x.col(i).array() -= x.col(i).mean();
        }
        covariance += x.transpose() * x / static_cast<double>(x.rows() * n);
    }
    covariance.diagonal().array() *= kRidge;
    covariance.diagonal() += (kLossUnsure * loss).cwiseAbs2();
    const Eigen::VectorXd weight = covariance.ldlt().solve(loss);
    Presence out{Eigen::MatrixXd::Zero(rows, n), Eigen::MatrixXd::Zero(rows, n)};
    for (Eigen::Index i = 0; i < k; ++i) {
        out.seen += weight(i) * features[static_cast<std::size_t>(i)].seen;
        out.missing += weight(i) * features[static_cast<std::size_t>(i)].missing;
    }
    std::vector<double> steps;
    for (Eigen::Index j = 0; j < n; ++j)
        steps.push_back(middle_of_ordinary(out.seen, ordinary, j) - middle_of_ordinary(out.missing, ordinary, j));
    const double usual = std::max(stats::median(steps), 1e-12);
    for (Eigen::Index j = 0; j < n; ++j) {
        const double step = std::max(steps[static_cast<std::size_t>(j)], kLeastShare * usual);
        const double zero = middle_of_ordinary(out.seen, ordinary, j) - step;
        for (auto* m : {&out.seen, &out.missing}) m->col(j) = (m->col(j).array() - zero) / step;
    }
    return out;
}

struct Around {
    double lowest = std::numeric_limits<double>::infinity(), highest = -std::numeric_limits<double>::infinity();
};
/// The presence of the two firings before and after one: what a missing firing's ringing leaves undone is blamed on
/// them, but less.
Around neighbours(const Eigen::MatrixXd& seen, const std::vector<std::size_t>& used, std::size_t row, std::size_t j) {
    const auto n = static_cast<std::ptrdiff_t>(seen.cols());
    const std::ptrdiff_t reach = n > 3 ? 2 : n > 1 ? 1 : 0;
    Around out;
    for (std::ptrdiff_t d = -reach; d <= reach; ++d) {
        if (d == 0) continue;
        auto k = static_cast<std::ptrdiff_t>(j) + d;
        const std::ptrdiff_t step = k < 0 ? -1 : k >= n ? 1 : 0;
        k -= step * n;
        const auto r = static_cast<std::ptrdiff_t>(row) + step;
        if (r < 0 || r >= static_cast<std::ptrdiff_t>(used.size())) continue;
        if (used[static_cast<std::size_t>(r)] != used[row] + static_cast<std::size_t>(step)) continue;
        const double v = seen(r, k);
        out.lowest = std::min(out.lowest, v);
        out.highest = std::max(out.highest, v);
    }
    return out;
}

/// How much of a firing counts as missing: what a tenth of missing ones and a bell of scatter `sd` make of its
/// presence.
double count_of(double presence, double sd) {
    return 1.0 / (1.0 + (1.0 - kUsualShare) / kUsualShare * std::exp((presence - 0.5) / (sd * sd)));
}

/// Evidence that some of a cylinder's firings are missing: logarithm of how much likelier its presence is if a tenth
/// lie about a missing firing's than if none does. Student's bells: a few firings fall far for other reasons.
double evidence(const std::vector<double>& presence, double sd) {
    constexpr double kFreedom = 10.0, kMissingMiddle = 0.15;
    const auto depth = [&](double off) { return 1.0 + off * off / (sd * sd * kFreedom); };
    double sum = 0.0;
    for (const double v : presence) {
        const double odds = std::pow(depth(v - 1.0) / depth(v - kMissingMiddle), 0.5 * (kFreedom + 1.0));
        sum += std::log1p(kUsualShare * (odds - 1.0));
    }
    return sum;
}

std::vector<double> mirrored(std::vector<double> presence) {
    for (double& v : presence) v = 2.0 - v;
    return presence;
}

/// What scatter alone shows of a cylinder: the mean of the mirror images (`above`) or its own one, the middle of the
/// other cylinders, or its own mirror image and what the others have beyond theirs, whichever is the most. Some are
/// heard less surely than others, and all scatter lower than they do higher.
double healthy(const std::vector<double>& below, const std::vector<double>& above, std::size_t j) {
    const double most = std::max(stats::mean(above), above[j]);
    if (below.size() < 3) return most;
    std::vector<double> beyond;
    for (std::size_t k = 0; k < below.size(); ++k) beyond.push_back(below[k] - above[k]);
    return std::max({most, stats::median_of_others(below, j), above[j] + stats::median_of_others(beyond, j)});
}

/// Chance that scatter alone gives a cylinder as much evidence of missing firings beyond what the others and the mirror
/// images have, one per cylinder.
std::vector<double> chances(const Eigen::MatrixXd& seen, const std::vector<double>& spreads, double usual_sd,
                            std::span<const double> strength) {
    const std::size_t n = spreads.size();
    std::vector<double> told(n), untold(n);
    for (std::size_t j = 0; j < n; ++j) {
        const auto v = column(seen, static_cast<Eigen::Index>(j));
        const double sd = std::max(strength[j] < kFaint ? spreads[j] : usual_sd, kLeastSd);
        told[j] = evidence(v, sd);
        untold[j] = evidence(mirrored(v), sd);
    }
    const double worth = kWorth / std::pow(std::max(1.0, static_cast<double>(seen.rows()) / kWorthCycles), kWorthFalls);
    std::vector<double> out;
    for (std::size_t j = 0; j < n; ++j) {
        const double surplus = told[j] - healthy(told, untold, j);
        out.push_back(std::exp(-worth * std::max(0.0, surplus)));
    }
    return out;
}

/// Share of the values that a second bell, about a lower middle of its own, accounts for (expectation-maximisation).
double mixed_share(const std::vector<double>& values, double sd) {
    constexpr int kRounds = 40;
    constexpr double kHighestMiddle = 0.6;
    double share = kUsualShare;
    double middle = 0.3;
    for (int round = 0; round < kRounds; ++round) {
        double sum = 0.0, weights = 0.0;
        for (const double v : values) {
            const double gone = share * std::exp(-0.5 * (v - middle) * (v - middle) / (sd * sd));
            const double there = (1.0 - share) * std::exp(-0.5 * (v - 1.0) * (v - 1.0) / (sd * sd));
            const double w = gone / std::max(gone + there, 1e-300);
            sum += w * v;
            weights += w;
        }
        share = std::clamp(weights / static_cast<double>(values.size()), 1e-4, 1.0 - 1e-4);
        middle = std::min(sum / std::max(weights, 1e-12), kHighestMiddle);
    }
    return share;
}

}  // namespace

MisfireCount count_misfires(const CycleBins& cut, const SwellFit& fit, const FiringFit& firings,
                            std::span<const double> strength) {
    std::vector<std::size_t> used;
    const bool two_rows = fit.over_the_end < firings.strength.cols();  // a cycle of firings lies in
    for (std::size_t c = 0; c < cut.cycles; ++c)
        if (cut.usable[c] && (!two_rows || (c + 1 < cut.cycles && cut.usable[c + 1]))) used.push_back(c);
    const Presence waves{firings.strength(used, Eigen::all), firings.missing(used, Eigen::all)};
    const auto ordinary = ordinary_rows(waves.seen);
    const auto z = presence(cut, fit, waves, used, ordinary);
    const auto n = static_cast<std::size_t>(z.seen.cols());
    const auto rows = static_cast<double>(used.size());
    MisfireCount out;
    out.cylinders.resize(n);
    std::vector<double> spreads;
    for (std::size_t j = 0; j < n; ++j) {  // the upper side: misfires lie on the lower
        const Eigen::VectorXd v = of_ordinary(z.seen, ordinary, static_cast<Eigen::Index>(j));
        spreads.push_back(stats::quantile({v.data(), static_cast<std::size_t>(v.size())}, 0.8413) - 1.0);
    }
    out.sd = stats::median(spreads);
    std::vector<double> below(n), above(n), would(n);
    double counts = 0.0, squares = 0.0;
    for (std::size_t j = 0; j < n; ++j) {
        const double sd = std::max({spreads[j], out.sd, kLeastSd});
        for (std::size_t r = 0; r < used.size(); ++r) {
            const double v = z.seen(static_cast<Eigen::Index>(r), static_cast<Eigen::Index>(j));
            const auto around = neighbours(z.seen, used, r, j);
            const double w = v <= around.lowest ? count_of(v, sd) : 0.0;
            below[j] += w;
            above[j] += v >= around.highest ? count_of(2.0 - v, sd) : 0.0;
            counts += w;
            squares += w * w;
        }
        for (const double v : column(z.missing, static_cast<Eigen::Index>(j))) would[j] += count_of(v, sd) / rows;
    }
    // Counts of less than one each: as many whole ones as scatter alike.
    const double whole = std::max(squares / counts, 0.05);
    const auto chance = chances(z.seen, spreads, out.sd, strength);
    for (std::size_t j = 0; j < n; ++j) {
        auto& c = out.cylinders[j];
        c.p = chance[j];
        c.told = !(spreads[j] > kUntold * out.sd / std::clamp(strength[j], kLeastShare, 1.0));
        const double rate = healthy(below, above, j) / rows;
        // Some of a missing firing is blamed on those before and after, so it falls less low than it would by itself: a
        // cylinder that misses tells how low.
        const double excess = below[j] / rows - rate;
        double room = std::max(would[j] - rate, 0.05);
        if (c.p < kSurely && excess > 0.0) {
            const double share =
                mixed_share(column(z.seen, static_cast<Eigen::Index>(j)), std::max(spreads[j], out.sd));
            room = std::clamp(excess / std::max(share, 1e-6), 0.3 * room, room);
        }
        const auto range = stats::wilson_interval(below[j] / whole, rows / whole);
        const auto unmixed = [&](double share) { return std::clamp((share - rate) / room, 0.0, 1.0); };
        c.share = unmixed(below[j] / rows);
        // However small the counts: no more can be told than from so many firings, each heard for certain.
        const double low = unmixed(range.low);
        const double high = std::max(unmixed(std::max(range.high, stats::wilson_interval(below[j], rows).high)),
                                     stats::wilson_interval(0.0, rows).high);
        const double unlike = stats::kTwoSided95 * std::hypot(kUnlike, kUnlikeShare * c.share);
        c.low = std::max(0.0, c.share - std::hypot(c.share - low, unlike));
        c.high = std::min(1.0, c.share + std::hypot(high - c.share, unlike));
        out.room += room / static_cast<double>(n);
    }
    out.tells = out.room > kLeastRoom;
    return out;
}

}  // namespace idlehark
