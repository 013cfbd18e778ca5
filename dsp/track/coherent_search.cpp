#include "dsp/track/coherent_search.hpp"

#include "dsp/turned.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <functional>

namespace idlehark {

namespace {
constexpr Eigen::Index kPairs = 12;
constexpr std::size_t kParts = 2 * kPairs;  // of a segment
constexpr int kOffsets = 14;                // each side
constexpr double kOffsetStep = 0.0015;
constexpr int kRises = 6;  // each side
constexpr double kRiseStep_per_s = 0.0033;
constexpr double kUsualOffset = 0.01;
constexpr double kUsualRise_per_s = 0.01;
constexpr float kPresent = 0.6F;  // prior share of lines that are there
constexpr float kGain = 10.F;     // their mean power over the noise of a whole segment
constexpr float kClear = 16.F;    // power over noise of a line about which there is no doubt
constexpr float kOverThird = 2.F;
constexpr std::size_t kLinesALog = 4;  // as many may be multiplied before the numbers' range is left
constexpr float kBelief = 0.6F;        // of the log likelihood: the speed's own wander makes it too sure
}  // namespace

CoherentSearch::CoherentSearch(double segment_s)
    : segment_s_(segment_s),
      offsets_(Eigen::VectorXd::LinSpaced(2 * kOffsets + 1, -kOffsets * kOffsetStep, kOffsets * kOffsetStep)),
      rises_(Eigen::VectorXd::LinSpaced(2 * kRises + 1, -kRises * kRiseStep_per_s, kRises * kRiseStep_per_s)),
      from_middle_s_(kPairs) {
    for (Eigen::Index k = 0; k < kPairs; ++k)  // the outermost first
        from_middle_s_[k] =
            segment_s_ * ((static_cast<double>(2 * kPairs - 1 - k) + 0.5) / static_cast<double>(kParts) - 0.5);
    begin();
}

void CoherentSearch::begin() { evidence_.setZero(rises_.size(), offsets_.size()); }

void CoherentSearch::hear(const CycleTemplate& signal, const CyclePath& path, int every, double highest_hz) {
    const double length_s = path.start_s.back() - path.start_s.front();
    const double line_hz = every * (path.phase.back() - path.phase.front()) / length_s;
    const auto lines = static_cast<std::size_t>(highest_hz / line_hz);
    if (lines == 0) return;
    phasors_.assign(kParts * lines, {});
    const std::size_t used = signal.line_phasors(path, every, segment_s_, kParts, phasors_);
    if (used == 0) return;
    using Complex = std::complex<float>;
    // The first line's turns; line i turns i + 1 times as fast: their powers. Two parts equally far from the middle are
    // turned alike by a rise and against one another by an offset: with their sum and their difference, cosines and
    // sines of the offsets to one side do for both.
    Eigen::ArrayXXcf by_offset(kPairs, kOffsets + 1), by_rise(rises_.size(), kPairs);
    for (Eigen::Index k = 0; k < kPairs; ++k) {
        const double t = from_middle_s_[k];
        const auto fill = [&](auto&& row, double cycles_per_step, int from) {
            const auto step = Complex(turned(cycles_per_step));
            row[0] = Complex(turned(from * cycles_per_step));
            for (Eigen::Index i = 1; i < row.size(); ++i) row[i] = row[i - 1] * step;
        };
        fill(by_offset.row(k), line_hz * kOffsetStep * t, 0);
        fill(by_rise.col(k), 0.5 * line_hz * kRiseStep_per_s * t * t, -kRises);
    }
    Eigen::ArrayXXcf to_offset = by_offset, to_rise = by_rise;
    const float over_noise = 1.F / static_cast<float>(static_cast<double>(used) * signal.noise());
    powers_.resize(lines);
    std::vector<float> loudest;
    const auto rises = rises_.size();
    Eigen::MatrixXf sums(2 * rises, kPairs), differences(2 * rises, kPairs);  // real parts above imaginary ones
    for (std::size_t i = 0; i < lines; ++i) {
        for (Eigen::Index k = 0; k < kPairs; ++k) {
            const auto part = [&](Eigen::Index at) { return phasors_[static_cast<std::size_t>(at) * lines + i]; };
            const Complex before = part(k), after = part(2 * kPairs - 1 - k);
            const Complex sum = after + before, difference = after - before;
            for (Eigen::Index r = 0; r < rises; ++r) {
                const Complex a = to_rise(r, k) * sum, b = to_rise(r, k) * difference;
                sums(r, k) = a.real(), sums(rises + r, k) = a.imag();
                differences(r, k) = -b.imag(), differences(rises + r, k) = b.real();  // times the imaginary unit
            }
        }
        const Eigen::MatrixXf even = sums * to_offset.real().matrix();
        const Eigen::MatrixXf odd = differences * to_offset.imag().matrix();
        auto& power = powers_[i];
        power.resize(rises, offsets_.size());
        const auto square = [&](const auto& both) {
            return (both.topRows(rises).array().square() + both.bottomRows(rises).array().square()).eval();
        };
        power.rightCols(kOffsets + 1) = over_noise * square(even + odd);
        power.leftCols(kOffsets + 1) = over_noise * square(even - odd).rowwise().reverse();
        loudest.push_back(power.maxCoeff());
        to_offset *= by_offset;
        to_rise *= by_rise;
    }
    // No line counts for much more than the third: a tone of something else that stands near one must not decide.
    const std::size_t third = std::min<std::size_t>(2, lines - 1);
    std::nth_element(loudest.begin(), loudest.begin() + static_cast<std::ptrdiff_t>(third), loudest.end(),
                     std::greater<>{});
    const float most = std::max(kClear, kOverThird * loudest[third]);
    Eigen::ArrayXXf odds = Eigen::ArrayXXf::Ones(rises_.size(), offsets_.size());
    for (std::size_t i = 0; i < lines; ++i) {
        const auto power = powers_[i].min(most);
        const auto clear = power.max(kClear);  // beyond, a line's own unrest is the noise: by the logarithm
        odds *= 1.F - kPresent + kPresent / (1.F + kGain) * (power.min(kClear) * (kGain / (1.F + kGain))).exp();
        if (most > kClear) evidence_ += kClear * kGain / (1.F + kGain) * (clear / kClear).log();
        if (i % kLinesALog == kLinesALog - 1) {
            evidence_ += odds.log();
            odds.setOnes();
        }
    }
    evidence_ += odds.log();
}

SpeedShift CoherentSearch::best() const {
    Eigen::ArrayXXd posterior = kBelief * evidence_.cast<double>();
    const Eigen::ArrayXd by_offset = -0.5 * (offsets_ / kUsualOffset).array().square();
    const Eigen::ArrayXd by_rise = -0.5 * (rises_ / kUsualRise_per_s).array().square();
    posterior.rowwise() += by_offset.transpose();
    posterior.colwise() += by_rise;
    Eigen::Index r = 0, o = 0;
    const double top = posterior.maxCoeff(&r, &o);
    posterior = (posterior - top).exp();
    posterior /= posterior.sum();
    SpeedShift shift;
    shift.offset = offsets_[o];
    shift.rise_per_s = rises_[r];
    shift.evidence = static_cast<double>(evidence_(r, o));
    const Eigen::ArrayXd far_offset = offsets_.array() - offsets_[o];
    const Eigen::ArrayXd far_rise = rises_.array() - rises_[r];
    shift.offset_variance = (posterior.colwise().sum().transpose() * far_offset.square()).sum();
    shift.rise_variance = (posterior.rowwise().sum() * far_rise.square()).sum();
    shift.covariance = (far_rise.matrix().transpose() * posterior.matrix() * far_offset.matrix())(0, 0);
    return shift;
}

}  // namespace idlehark
