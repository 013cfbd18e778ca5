#include "dsp/balance/firing_fit.hpp"

#include "dsp/balance/ordinary_firings.hpp"
#include "dsp/dot.hpp"
#include "dsp/windows.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <complex>
#include <limits>
#include <map>
#include <numbers>
#include <span>
#include <tuple>

namespace idlehark {

namespace {

constexpr double kLead_s = 5e-3;                    // a swell's place is known to a few milliseconds
constexpr double kLength_s = 42e-3;                 // body and bay have rung out by then
constexpr double kUsualShift_cycles = 1.5 / 720.0;  // standard deviation of where combustion is heard
constexpr double kReach = 2.5;                      // of these
constexpr int kCourseFirings = 8;                   // each side, over which shifts show how the path is off
constexpr int kFirstRounds = 1, kCommonRounds = 3, kOwnRounds = 1;
constexpr int kSteps = 4;  // of the conjugate gradients, a round
constexpr double kLeft = 0.1;
constexpr double kScatter = 0.15;  // of an ordinary firing's strength
constexpr double kRareMiss = 0.03;
constexpr float kFewest = 0.05F;  // of a shape's strength: below this a middle is no yardstick
constexpr std::ptrdiff_t kSizeEvery = 7;
constexpr float kLoudest = 4.F;  // times what one sample in ten exceeds
constexpr double kWhitenedBlock_s = 0.25, kSmooth_hz = 100.0, kWhiteFloor = 1e-3;

void add(float gain, const float* x, float* y, std::size_t n) {
    for (std::size_t i = 0; i < n; ++i) y[i] += gain * x[i];
}
double squares(std::span<const float> x) {
    double sum = 0.0;
    for (std::size_t i = 0; i < x.size(); i += 1024) {
        const std::size_t n = std::min<std::size_t>(1024, x.size() - i);
        sum += static_cast<double>(dot(x.data() + i, x.data() + i, n));
    }
    return sum;
}
/// Dots of n values of `a` with those of `b`, of `b + 1` and so on.
void dots_along(const float* a, const float* b, std::size_t n, std::span<float> out) {
    const auto rows = static_cast<Eigen::Index>(n), columns = std::ssize(out);
    const Eigen::Map<const Eigen::VectorXf> shape(a, rows);
    const Eigen::Map<const Eigen::MatrixXf, 0, Eigen::OuterStride<>> shifted(b, rows, columns, Eigen::OuterStride<>(1));
    Eigen::Map<Eigen::VectorXf>(out.data(), columns).noalias() = shifted.transpose() * shape;
}

/// The sound with every frequency divided by the noise there, so that no band drowns the others.
std::vector<float> whitened(const std::vector<float>& x, const std::vector<float>& noise, double rate_hz) {
    RealFft fft{std::bit_ceil(static_cast<std::size_t>(kWhitenedBlock_s * rate_hz))};
    const std::size_t n = fft.size();
    const auto window = hann_window(n);
    std::vector<double> power(fft.bins(), 0.0);
    std::vector<float> in(n);
    std::vector<std::complex<float>> bins(fft.bins());
    for (std::size_t from = 0; from + n <= noise.size(); from += 2 * n) {
        for (std::size_t i = 0; i < n; ++i) in[i] = window[i] * noise[from + i];
        fft.forward(in, bins);
        for (std::size_t k = 0; k < bins.size(); ++k) power[k] += static_cast<double>(std::norm(bins[k]));
    }
    std::vector<double> sums(power.size() + 1, 0.0);
    for (std::size_t k = 0; k < power.size(); ++k) sums[k + 1] = sums[k] + power[k];
    const auto side = static_cast<std::size_t>(kSmooth_hz * static_cast<double>(n) / rate_hz);
    double most = 0.0;
    for (std::size_t k = 0; k < power.size(); ++k) {
        const std::size_t from = k - std::min(k, side), to = std::min(k + side + 1, power.size());
        power[k] = (sums[to] - sums[from]) / static_cast<double>(to - from);
        most = std::max(most, power[k]);
    }
    if (!(most > 0.0)) return x;
    std::vector<float> gain(power.size());
    for (std::size_t k = 0; k < gain.size(); ++k)
        gain[k] = static_cast<float>(1.0 / std::sqrt(power[k] / most + kWhiteFloor) / static_cast<double>(n));
    std::vector<float> out(x.size());
    const std::size_t edge = n / 16;  // the ends of a transform know of each other
    for (std::size_t from = 0; from < x.size(); from += n - 2 * edge) {
        for (std::size_t i = 0; i < n; ++i) {
            const std::size_t at = from + i;
            in[i] = at >= edge && at - edge < x.size() ? x[at - edge] : 0.F;
        }
        fft.forward(in, bins);
        for (std::size_t k = 0; k < bins.size(); ++k) bins[k] *= gain[k];
        fft.inverse(bins, in);
        const std::size_t count = std::min(n - 2 * edge, x.size() - from);
        std::copy_n(in.begin() + static_cast<std::ptrdiff_t>(edge), count,
                    out.begin() + static_cast<std::ptrdiff_t>(from));
    }
    return out;
}

/// Taps of a delay by half a sample, windowed sinc: the first is that of half a sample ahead.
constexpr std::size_t kHalfTaps = 8;
std::array<float, kHalfTaps> half_taps() {
    std::array<float, kHalfTaps> taps{};
    for (std::size_t k = 0; k < kHalfTaps / 2; ++k) {
        const double x = std::numbers::pi * (static_cast<double>(k) + 0.5);
        const double window = 0.5 + 0.5 * std::cos(2.0 * x / static_cast<double>(kHalfTaps + 1));
        taps[kHalfTaps / 2 - 1 - k] = taps[kHalfTaps / 2 + k] =
            static_cast<float>((k % 2 == 0 ? 1.0 : -1.0) / x * window);
    }
    return taps;
}
/// A stretch half a sample later (`by` 0), or half a sample earlier (`by` 1).
std::vector<float> half_later(const std::vector<float>& x, std::ptrdiff_t by = 0) {
    static const auto taps = half_taps();
    std::vector<float> out(x.size(), 0.F);
    for (std::size_t k = 0; k < kHalfTaps; ++k) {
        const auto off = static_cast<std::ptrdiff_t>(k) - static_cast<std::ptrdiff_t>(kHalfTaps / 2) + by;
        const auto from = std::max<std::ptrdiff_t>(0, -off);
        const auto to = std::min(std::ssize(x), std::ssize(x) - off);
        add(taps[k], x.data() + from + off, out.data() + from, static_cast<std::size_t>(to - from));
    }
    return out;
}

struct Firing {
    std::size_t cycle, cylinder;
    double place;             // frames, as the course of the shifts has it
    std::ptrdiff_t from = 0;  // first frame of the shape with no shift
    std::size_t shape = 0;
    int shift = 0;  // halves of a frame
    float strength = 1.F;
    float missing = 0.F;
};

/// What is sought of the firings: their places, all alike in strength; strengths, too; or the last word on these.
enum class Look { places, both, last };

class PulseTrain {
   public:
    PulseTrain(double rate_hz, double cycle_hz, std::vector<Firing> firings, std::size_t cylinders)
        : lead_(kLead_s * rate_hz),
          length_(static_cast<std::size_t>(kLength_s * rate_hz)),
          usual_(kUsualShift_cycles / cycle_hz * rate_hz),
          reach_(2 * static_cast<int>(std::lround(kReach * usual_))),
          firings_(std::move(firings)),
          cylinders_(cylinders) {
        for (auto& f : firings_) f.from = start_of(f);
    }

    /// One shape for all, from the start: the mean of what lies up to the next firing.
    void hear(std::vector<float> x) {
        x_ = std::move(x);
        shapes_.assign(1, Shape(length_, 0.F));
        for (std::size_t k = 0; k + 1 < firings_.size(); ++k) {
            const auto gap = static_cast<std::size_t>(firings_[k + 1].from - firings_[k].from);
            add(1.F / static_cast<float>(firings_.size()), x_.data() + firings_[k].from, shapes_[0].data(),
                std::min(length_, gap));
        }
        for (auto& f : firings_) f.strength = 1.F;
        lay();
    }
    /// Shapes and what is looked for, in turns. Firings scatter more by their places than by their strengths, so the
    /// shape is found sooner by places alone.
    void fit(int rounds, Look what) {
        for (int round = 0; round < rounds; ++round) {
            leave_over();
            descend(what);
            follow_course();
            rescale();
            believe();
            reshape();
        }
    }
    void give_each_its_own() {
        shapes_.assign(cylinders_, shapes_.front());
        for (auto& f : firings_) f.shape = f.cylinder;
        lay();
    }
    /// What cylinders have of their own, as far as it stands out of what noise alone makes of it.
    void believe_shapes() {
        leave_over();
        const auto count = static_cast<float>(shapes_.size());
        const auto mean = mean_shape();
        std::vector<double> energy(shapes_.size(), 1e-30);
        for (const auto& f : firings_) energy[f.shape] += static_cast<double>(f.strength * f.strength);
        double own = 0.0, by_noise = 0.0;
        for (std::size_t s = 0; s < shapes_.size(); ++s) {
            add(-1.F, mean.data(), shapes_[s].data(), length_);
            own += squares(shapes_[s]);
            by_noise += static_cast<double>(1.F - 1.F / count) * static_cast<double>(length_) / energy[s];
        }
        by_noise *= noise();
        const auto kept = static_cast<float>(std::max(0.0, 1.0 - by_noise / std::max(own, 1e-300)));
        for (auto& s : shapes_)
            for (std::size_t i = 0; i < length_; ++i) s[i] = mean[i] + kept * s[i];
        lay();
    }
    void measure() {
        leave_over();
        descend(Look::last);
        rescale();
    }
    const std::vector<float>& leave_over() {
        left_ = x_;
        for (const auto& f : firings_) add(-f.strength, laid(f.shape, f.shift), left_.data() + laid_from(f), length_);
        return left_;
    }
    [[nodiscard]] const std::vector<Firing>& firings() const { return firings_; }
    /// Frames that must lie before the first and after the last firing's place.
    [[nodiscard]] static double margin_s() { return kLength_s + kLead_s; }

   private:
    using Shape = std::vector<float>;

    [[nodiscard]] std::ptrdiff_t start_of(const Firing& f) const { return std::lround(f.place - lead_); }

    /// The shapes half a frame later.
    void lay() {
        halves_.clear();
        for (const auto& s : shapes_) halves_.push_back(half_later(s));
    }
    [[nodiscard]] const float* laid(std::size_t shape, int shift) const {
        return (shift % 2 == 0 ? shapes_ : halves_)[shape].data();
    }
    static std::ptrdiff_t whole(int shift) { return shift >> 1; }
    static std::ptrdiff_t laid_from(const Firing& f) { return f.from + whole(f.shift); }

    [[nodiscard]] Shape mean_shape() const {
        Shape mean(length_, 0.F);
        for (const auto& s : shapes_) add(1.F / static_cast<float>(shapes_.size()), s.data(), mean.data(), length_);
        return mean;
    }

    /// Mean square of what is left over.
    [[nodiscard]] double noise() const { return std::max(squares(left_) / static_cast<double>(left_.size()), 1e-300); }

    /// Each firing's shift, and strength, against what all others leave over.
    void descend(Look what) {
        const bool last = what == Look::last;
        std::vector<std::vector<float>> self(shapes_.size());  // a shape on itself, by shift
        for (std::size_t s = 0; s < shapes_.size(); ++s)
            for (int lag = 0; lag <= 2 * reach_; ++lag) {
                const auto by = static_cast<std::size_t>(whole(lag));
                self[s].push_back(dot(laid(s, lag), shapes_[s].data() + by, length_ - by));
            }
        const double left = noise();
        const int side = reach_ / 2;  // whole frames
        std::vector<float> wholes(static_cast<std::size_t>(reach_) + 1), halves(wholes.size() - 1);
        const auto found = [&](int e) -> float& {
            return (e % 2 == 0 ? wholes : halves)[static_cast<std::size_t>(whole(e) + side)];
        };
        std::vector<std::pair<double, float>> scores(wholes.size() + halves.size());
        for (auto& f : firings_) {
            const auto& own = self[f.shape];
            const float energy = std::max(own[0], 1e-30F);
            float* at = left_.data() + f.from;
            dots_along(laid(f.shape, 0), at - side, length_, wholes);
            if (last) dots_along(laid(f.shape, 1), at - side, length_, halves);
            /// The likeliest shift and the strength there if a share of the firing as it was fitted is put back; and
            /// the strength over all shifts by their odds, which no small change makes jump.
            struct Found {
                int shift = 0;
                float strength = 0.F, usual = 0.F;
            };
            const auto best = [&](float share) {
                double most = -std::numeric_limits<double>::infinity();
                Found out;
                const auto look = [&](int e) {
                    const float sum =
                        found(e) + share * f.strength * own[static_cast<std::size_t>(std::abs(e - f.shift))];
                    const auto z = static_cast<double>(sum);
                    const auto full = static_cast<double>(energy);
                    const double told = what == Look::places ? 2.0 * z - full : std::copysign(z * z, z) / full;
                    const double score = told / left - 0.25 * static_cast<double>(e * e) / (usual_ * usual_);
                    const int at_shift = e + reach_;
                    scores[static_cast<std::size_t>(at_shift)] = {score, sum / energy};
                    if (score > most) {
                        most = score;
                        out = {e, sum / energy};
                    }
                };
                for (int e = -reach_; e <= reach_; e += last ? 1 : 2) look(e);
                if (!last) {  // the halves beside the likeliest whole one
                    const int middle = out.shift;
                    for (const int e : {middle - 1, middle + 1})
                        if (std::abs(e) < reach_) found(e) = dot(laid(f.shape, e), at + whole(e), length_), look(e);
                    return out;
                }
                double odds = 0.0, mean = 0.0;
                for (const auto& [score, strength] : scores) {
                    const double w = std::exp(0.5 * (score - most));
                    odds += w;
                    mean += w * static_cast<double>(strength);
                }
                out.usual = static_cast<float>(mean / odds);
                return out;
            };
            if (last) f.missing = best(static_cast<float>(kLeft)).usual;
            const auto [shift, heard, usual] = best(1.F);
            const float strength = what == Look::places ? 1.F : heard;
            add(f.strength, laid(f.shape, f.shift), at + whole(f.shift), length_);
            add(-strength, laid(f.shape, shift), at + whole(shift), length_);
            f.strength = last ? usual : strength;
            f.shift = shift;
        }
    }

    /// What the shifts of neighbouring firings have in common is the path's error.
    void follow_course() {
        std::vector<double> off;
        for (const auto& f : firings_) off.push_back(static_cast<double>(f.from) + 0.5 * f.shift + lead_ - f.place);
        for (std::size_t k = 0; k < firings_.size(); ++k) {
            double sum = 0.0, weight = 0.0;
            for (int d = -kCourseFirings; d <= kCourseFirings; ++d) {
                const std::size_t j = k + static_cast<std::size_t>(d);  // before the first wraps to beyond the last
                if (j >= firings_.size()) continue;
                const double w = (1.0 - std::abs(d) / (kCourseFirings + 1.0)) *
                                 std::clamp(static_cast<double>(firings_[j].strength), 0.0, 1.5);
                sum += w * off[j];
                weight += w;
            }
            if (!(weight > 0.0)) continue;
            auto& f = firings_[k];
            const auto now = 2 * f.from + f.shift;
            f.place += sum / weight;
            f.from = start_of(f);
            f.shift = static_cast<int>(std::clamp<std::ptrdiff_t>(now - 2 * f.from, -reach_, reach_));
        }
    }

    void rescale() {
        for (std::size_t s = 0; s < shapes_.size(); ++s) {
            std::vector<double> strengths;
            for (const auto& f : firings_)
                if (f.shape == s) strengths.push_back(static_cast<double>(f.strength));
            if (strengths.empty()) continue;
            if (shapes_.size() > 1)
                std::erase_if(strengths, [line = ordinary_above(strengths)](double v) { return v <= line; });
            const auto at = strengths.begin() + std::ssize(strengths) / 2;
            std::nth_element(strengths.begin(), at, strengths.end());
            const auto middle = static_cast<float>(*at);
            if (!(middle > kFewest)) continue;
            for (auto& f : firings_)
                if (f.shape == s) f.strength /= middle, f.missing /= middle;
            for (float& v : shapes_[s]) v *= middle;
        }
        lay();
    }

    /// Strengths as they are to be expected: firings are there with an ordinary scatter, or missing.
    void believe() {
        const double left = noise();
        for (std::size_t s = 0; s < shapes_.size(); ++s) {
            const double v = std::max(left / std::max(squares(shapes_[s]), 1e-30), 1e-9);
            const double there_v = kScatter * kScatter + v;
            for (auto& f : firings_) {
                if (f.shape != s) continue;
                const auto x = static_cast<double>(f.strength);
                const double there =
                    (1.0 - kRareMiss) / std::sqrt(there_v) * std::exp(-0.5 * (x - 1.0) * (x - 1.0) / there_v);
                const double gone = kRareMiss / std::sqrt(v) * std::exp(-0.5 * (x - kLeft) * (x - kLeft) / v);
                const double share = there > 0.0 ? gone / (gone + there) : (x < 0.5 ? 1.0 : 0.0);
                f.strength = static_cast<float>(share * kLeft +
                                                (1.0 - share) * (1.0 + kScatter * kScatter / there_v * (x - 1.0)));
            }
        }
    }

    /// Covariance of a firing's strength and that of the d-th after it, as far as the sound leaves them unsure: of one
    /// in the middle of many alike.
    [[nodiscard]] std::vector<double> unsure() const {
        const auto mean = mean_shape();
        const double gap = static_cast<double>(firings_.back().from - firings_.front().from) /
                           static_cast<double>(firings_.size() - 1);
        const double left = noise();
        constexpr Eigen::Index kSide = 16;
        Eigen::MatrixXd certain = Eigen::MatrixXd::Zero(2 * kSide + 1, 2 * kSide + 1);
        for (Eigen::Index d = 0; d <= 2 * kSide; ++d) {
            const auto by = static_cast<std::size_t>(std::lround(static_cast<double>(d) * gap));
            if (by >= length_) break;
            const double with = static_cast<double>(dot(mean.data(), mean.data() + by, length_ - by)) / left;
            certain.diagonal(d).setConstant(with);
            certain.diagonal(-d).setConstant(with);
        }
        certain.diagonal().array() += 1.0 / (kScatter * kScatter);
        const Eigen::VectorXd c = certain.ldlt().solve(Eigen::VectorXd::Unit(2 * kSide + 1, kSide));
        std::vector<double> out;
        for (Eigen::Index d = 0; d <= kSide && static_cast<double>(d) * gap < static_cast<double>(length_); ++d)
            out.push_back(c(kSide + d));
        return out;
    }

    /// Firings as laid (shape, whole frame or half) that are followed by others so many frames later, all of them
    /// together.
    struct Overlap {
        std::size_t first, second, by;
        double weight;  ///< products of their strengths, summed, and what the sound leaves unsure of these; of a
                        ///< firing with itself half, as it stands for both directions
    };
    [[nodiscard]] static std::size_t as_laid(const Firing& f) { return 2 * f.shape + (f.shift % 2 == 0 ? 0 : 1); }
    [[nodiscard]] std::vector<Overlap> overlaps() const {
        const auto covariance = unsure();
        std::map<std::tuple<std::size_t, std::size_t, std::size_t>, double> sums;
        for (std::size_t k = 0; k < firings_.size(); ++k)
            for (std::size_t d = 0; d < covariance.size() && k + d < firings_.size(); ++d) {
                const auto *f = &firings_[k], *g = &firings_[k + d];
                if (laid_from(*g) < laid_from(*f)) std::swap(f, g);  // two close together, each shifted
                const auto by = static_cast<std::size_t>(laid_from(*g) - laid_from(*f));
                if (by >= length_) break;
                const double weight = static_cast<double>(f->strength * g->strength) + covariance[d];
                sums[{as_laid(*f), as_laid(*g), by}] += d == 0 ? 0.5 * weight : weight;
            }
        std::vector<Overlap> out;
        out.reserve(sums.size());
        for (const auto& [which, sum] : sums)
            out.push_back({std::get<0>(which), std::get<1>(which), std::get<2>(which), sum});
        return out;
    }

    [[nodiscard]] std::vector<Shape> from_laid(const std::vector<Shape>& laid) const {
        std::vector<Shape> out;
        for (std::size_t s = 0; s < shapes_.size(); ++s) {
            out.push_back(half_later(laid[2 * s + 1], 1));
            add(1.F, laid[2 * s].data(), out.back().data(), length_);
        }
        return out;
    }
    /// The normal equations' matrix times `of`. What is unsure of the strengths counts, too (the expectation step of
    /// expectation-maximisation): without it a shape that holds the ringing of the firing before is as good as the true
    /// one.
    [[nodiscard]] std::vector<Shape> normal(const std::vector<Overlap>& overlaps, const std::vector<Shape>& of) const {
        std::vector<Shape> in, out(2 * of.size(), Shape(length_, 0.F));
        for (const auto& s : of) in.push_back(s), in.push_back(half_later(s));
        for (const auto& o : overlaps) {
            const auto w = static_cast<float>(o.weight);
            add(w, in[o.second].data(), out[o.first].data() + o.by, length_ - o.by);
            add(w, in[o.first].data() + o.by, out[o.second].data(), length_ - o.by);
        }
        return from_laid(out);
    }

    /// Conjugate gradients on the shapes, from where they are.
    void reshape() {
        leave_over();
        const auto overlapping = overlaps();
        std::vector<Shape> laid(2 * shapes_.size(), Shape(length_, 0.F));
        for (const auto& f : firings_) add(f.strength, x_.data() + laid_from(f), laid[as_laid(f)].data(), length_);
        auto slope = from_laid(laid);
        const auto there = normal(overlapping, shapes_);
        for (std::size_t s = 0; s < slope.size(); ++s) add(-1.F, there[s].data(), slope[s].data(), length_);
        const auto product = [&](const std::vector<Shape>& a, const std::vector<Shape>& b) {
            double sum = 0.0;
            for (std::size_t s = 0; s < a.size(); ++s)
                sum += static_cast<double>(dot(a[s].data(), b[s].data(), length_));
            return sum;
        };
        double steep = product(slope, slope);
        auto way = slope;
        for (int step = 0; step < kSteps && steep > 0.0; ++step) {
            const auto turned = normal(overlapping, way);
            const auto far = static_cast<float>(steep / std::max(product(way, turned), 1e-300));
            for (std::size_t s = 0; s < shapes_.size(); ++s) {
                add(far, way[s].data(), shapes_[s].data(), length_);
                add(-far, turned[s].data(), slope[s].data(), length_);
            }
            const double next = product(slope, slope);
            const auto turn = static_cast<float>(next / steep);
            steep = next;
            for (std::size_t s = 0; s < shapes_.size(); ++s)
                for (std::size_t i = 0; i < length_; ++i) way[s][i] = slope[s][i] + turn * way[s][i];
        }
        lay();
    }

    double lead_;
    std::size_t length_;
    double usual_;
    int reach_;
    std::vector<Firing> firings_;
    std::size_t cylinders_;
    std::vector<Shape> shapes_, halves_;
    std::vector<float> x_, left_;  ///< the sound, and what the firings leave of it
};

}  // namespace

FiringFit fit_firings(const BandSplit& sound, const CrankPath& path, const std::vector<double>& places, double onset,
                      std::size_t cycles) {
    FiringFit out;
    const auto rows = static_cast<Eigen::Index>(cycles), columns = static_cast<Eigen::Index>(places.size());
    out.strength = out.missing = Eigen::MatrixXd::Ones(rows, columns);
    const double rate_hz = sound.waveform_hz();
    // The stretch of the path, with room for the shapes at both ends; a knock is cut down to what an engine may do.
    const double margin_s = 2.0 * PulseTrain::margin_s();
    const auto skip = std::lround((path.start_s() - margin_s) * rate_hz);
    const auto& wave = sound.waveform();
    std::vector<float> x(static_cast<std::size_t>((path.end_s() - path.start_s() + 2.0 * margin_s) * rate_hz) + 2, 0.F);
    const auto first = std::max(std::lround(path.start_s() * rate_hz), 0L);
    const auto last = std::min(std::lround(path.end_s() * rate_hz), std::ssize(wave));
    std::vector<float> sizes;
    for (auto i = first; i < last; i += kSizeEvery) sizes.push_back(std::fabs(wave[static_cast<std::size_t>(i)]));
    if (sizes.empty()) return out;
    const auto large = sizes.begin() + static_cast<std::ptrdiff_t>(0.9 * static_cast<double>(sizes.size()));
    std::nth_element(sizes.begin(), large, sizes.end());
    const float most = kLoudest * *large;
    for (auto i = first; i < last; ++i)
        x[static_cast<std::size_t>(i - skip)] = std::clamp(wave[static_cast<std::size_t>(i)], -most, most);
    std::vector<Firing> firings;
    for (std::size_t c = 0; c < cycles; ++c)
        for (std::size_t j = 0; j < places.size(); ++j)
            if (const double at = static_cast<double>(c) + places[j] + onset; at < path.cycles())
                firings.push_back({c, j, path.time_at(at) * rate_hz - static_cast<double>(skip)});
    if (firings.size() < 2) return out;
    PulseTrain train(rate_hz, path.mean_cycle_hz(), std::move(firings), places.size());
    train.hear(x);
    train.fit(kFirstRounds, Look::places);
    train.hear(whitened(x, train.leave_over(), rate_hz));
    train.fit(kCommonRounds, Look::places);
    train.give_each_its_own();
    train.fit(kOwnRounds, Look::both);
    train.believe_shapes();
    train.measure();
    for (const auto& f : train.firings()) {
        const auto r = static_cast<Eigen::Index>(f.cycle), c = static_cast<Eigen::Index>(f.cylinder);
        out.strength(r, c) = static_cast<double>(f.strength);
        out.missing(r, c) = static_cast<double>(f.missing);
    }
    return out;
}

}  // namespace idlehark
