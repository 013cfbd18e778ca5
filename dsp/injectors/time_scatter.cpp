#include "dsp/injectors/time_scatter.hpp"

#include "dsp/statistics.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <stdexcept>

namespace idlehark {

namespace {

constexpr std::size_t kFewest = 8;
constexpr double kVague = 1e8;  // variance of the start, in units of the scatter's
constexpr double kStrayScatters = 3.5;
constexpr double kLoneStray = 6.0;
constexpr int kRounds = 2;
constexpr double kExcluded = 1.92;    // log likelihood: 95 %
constexpr double kLeastShare = 1e-3;  // of the variance: less is none
constexpr int kHalvings = 6;
constexpr double kMiddleBend = 3e-3;  // of the range that is searched

/// Level and slope of the course, and their covariance (aa, ab, bb).
struct State {
    double level = 0.0, slope = 0.0;
    double aa = kVague, ab = 0.0, bb = kVague;
};

/// Variances against that of family 0.
struct Ratios {
    double bend = 0.0;          // of the slope per unit of place
    std::vector<double> noise;  // of each family; 1 for the first
};

struct Pass {
    double log_likelihood = -std::numeric_limits<double>::infinity();
    double variance = 0.0;  // of family 0
};

class Course {
   public:
    explicit Course(std::vector<CourseMark> marks) : marks_(std::move(marks)) {
        for (const auto& m : marks_) families_ = std::max(families_, m.family + 1);
        noise_.assign(families_, 1.0);
        there_.assign(marks_.size(), 1);
        for (std::size_t k = 0; k < marks_.size(); ++k)
            there_[k] = std::isfinite(marks_[k].value) && marks_[k].family == 0 ? 1 : 0;
    }
    [[nodiscard]] std::size_t families() const { return families_; }

    /// Kalman filter; with `keep` what the smoother needs.
    /// `own_variance`: of family 0, where it is given; 0: the likeliest.
    Pass filter(const Ratios& ratios, bool keep, double own_variance = 0.0) {
        Pass p;
        State s;
        double squares = 0.0;
        double logs = 0.0;
        int counted = 0;
        int seen = 0;
        if (keep) predicted_.clear(), filtered_.clear();
        for (std::size_t k = 0; k < marks_.size(); ++k) {
            if (k > 0) step(s, marks_[k].at - marks_[k - 1].at, ratios.bend);
            if (keep) predicted_.push_back(s);
            if (there_[k]) {
                const double v = s.aa + ratios.noise[marks_[k].family];
                const double e = marks_[k].value - s.level;
                const double ga = s.aa / v;
                const double gb = s.ab / v;
                s.level += ga * e;
                s.slope += gb * e;
                s.bb -= gb * s.ab;
                s.ab -= ga * s.ab;
                s.aa -= ga * s.aa;
                if (++seen > 2) {  // the first two only fix level and slope
                    squares += e * e / v;
                    logs += std::log(v);
                    ++counted;
                }
            }
            if (keep) filtered_.push_back(s);
        }
        if (counted > 0) {
            p.variance = std::max(squares / counted, 1e-300);
            p.log_likelihood = -0.5 * (counted * std::log(p.variance) + logs);
            if (own_variance > 0.0)
                p.log_likelihood = -0.5 * (squares / own_variance - counted + counted * std::log(own_variance) + logs);
        }
        return p;
    }

    /// The least own variance, as a share of the likeliest, that the marks do not exclude.
    double least_share(const Ratios& best) {
        const auto likeliest = filter(best, false);
        const auto excluded = [&](double share) {
            double most = -std::numeric_limits<double>::infinity();
            for (double power = -1.0; power <= 2.0; power += 0.5) {
                Ratios trial = best;
                for (std::size_t f = 1; f < trial.noise.size(); ++f) trial.noise[f] /= share;
                trial.bend *= std::pow(10.0, power) / share;
                most = std::max(most, filter(trial, false, share * likeliest.variance).log_likelihood);
            }
            return most < likeliest.log_likelihood - kExcluded;
        };
        if (!excluded(kLeastShare)) return 0.0;
        double out = std::log(kLeastShare);
        double in = 0.0;
        for (int halving = 0; halving < kHalvings; ++halving) {
            const double middle = 0.5 * (out + in);
            (excluded(std::exp(middle)) ? out : in) = middle;
        }
        return std::exp(in);
    }

    /// The likeliest ratios: all together, which is the own variance alone, then one after the other.
    Ratios likeliest() {
        Ratios best{.bend = bend_, .noise = noise_};
        double most = -std::numeric_limits<double>::infinity();
        const auto search = [&](auto change, double reach, double by) {
            const Ratios before = best;
            for (double power = -reach; power <= reach + 1e-9; power += by) {
                Ratios trial = before;
                change(trial, std::pow(10.0, power));
                if (const double l = filter(trial, false).log_likelihood; l > most) {
                    most = l;
                    best = trial;
                }
            }
        };
        const auto bend = [](Ratios& r, double by) { r.bend *= by; };
        if (!laid_) {
            search(bend, 4.5, 0.5);
        } else {
            search(
                [](Ratios& r, double by) {
                    r.bend *= by;
                    for (std::size_t f = 1; f < r.noise.size(); ++f) r.noise[f] *= by;
                },
                2.0, 0.25);
        }
        for (const double reach : {1.0, 0.25}) {
            if (laid_)
                for (std::size_t f = 1; f < noise_.size(); ++f)
                    search([f](Ratios& r, double by) { r.noise[f] *= by; }, reach, reach / 4);
            search(bend, reach, reach / 4);
        }
        noise_ = best.noise;
        bend_ = best.bend;
        return best;
    }

    std::vector<double> smooth() const {
        std::vector<double> course(marks_.size());
        if (course.empty()) return course;
        double level = filtered_.back().level;
        double slope = filtered_.back().slope;
        course.back() = level;
        for (std::size_t k = marks_.size() - 1; k-- > 0;) {
            const auto& f = filtered_[k];
            const auto& p = predicted_[k + 1];
            const double h = marks_[k + 1].at - marks_[k].at;
            // gain = covariance * transition' * predicted^-1
            const double ca = f.aa + h * f.ab;
            const double cb = f.ab + h * f.bb;
            const double det = std::max(p.aa * p.bb - p.ab * p.ab, 1e-300);
            const double da = level - p.level;
            const double db = slope - p.slope;
            const double wa = (p.bb * da - p.ab * db) / det;
            const double wb = (p.aa * db - p.ab * da) / det;
            level = f.level + ca * wa + f.ab * wb;
            slope = f.slope + cb * wa + f.bb * wb;
            course[k] = level;
        }
        return course;
    }

    /// Lays every other family about the course and lets it count from now on.
    void lay_families(const std::vector<double>& course, double own_variance) {
        laid_ = true;
        for (std::size_t f = 1; f < families_; ++f) {
            std::vector<double> off;
            for (std::size_t k = 0; k < marks_.size(); ++k)
                if (marks_[k].family == f && std::isfinite(marks_[k].value)) off.push_back(marks_[k].value - course[k]);
            if (off.empty()) continue;
            const double middle = stats::median(off);
            const double sd = std::max(stats::kMadToSd * stats::median_absolute_deviation(off), 1e-9);
            noise_[f] = sd * sd / own_variance;
            for (std::size_t k = 0; k < marks_.size(); ++k)
                if (marks_[k].family == f && std::isfinite(marks_[k].value)) {
                    marks_[k].value -= middle;
                    there_[k] = std::fabs(marks_[k].value - course[k]) <= kStrayScatters * sd ? 1 : 0;
                }
        }
    }
    /// Single values of family 0 far off the straight line between their neighbours do not count from the start: one
    /// would bend the course so far that none is a stray.
    void leave_out_lone_strays() {
        std::vector<std::size_t> own;
        for (std::size_t k = 0; k < marks_.size(); ++k)
            if (there_[k]) own.push_back(k);
        std::vector<double> off(own.size(), 0.0);
        for (std::size_t i = 1; i + 1 < own.size(); ++i) {
            const auto &before = marks_[own[i - 1]], &here = marks_[own[i]], &next = marks_[own[i + 1]];
            const double u = (here.at - before.at) / std::max(next.at - before.at, 1e-12);
            off[i] = std::fabs(here.value - std::lerp(before.value, next.value, u));
        }
        const double usual = stats::kMadToSd * stats::median(off);
        for (std::size_t i = 1; i + 1 < own.size(); ++i)
            if (off[i] > kLoneStray * usual && off[i] > off[i - 1] && off[i] > off[i + 1]) there_[own[i]] = 0;
    }
    /// How many of family 0 are left.
    std::size_t leave_out_strays(const std::vector<double>& course, double own_sd) {
        std::size_t kept = 0;
        for (std::size_t k = 0; k < marks_.size(); ++k) {
            const double sd = own_sd * std::sqrt(noise_[marks_[k].family]);
            if (there_[k] && std::fabs(marks_[k].value - course[k]) > kStrayScatters * sd) there_[k] = 0;
            kept += there_[k] && marks_[k].family == 0 ? 1U : 0U;
        }
        return kept;
    }

   private:
    /// Over a distance, the slope walking at random.
    static void step(State& s, double h, double bend) {
        s.level += h * s.slope;
        s.aa += 2.0 * h * s.ab + h * h * s.bb + bend * h * h * h / 3.0;
        s.ab += h * s.bb + bend * h * h / 2.0;
        s.bb += bend * h;
    }

    std::vector<CourseMark> marks_;
    std::vector<char> there_;
    double bend_ = kMiddleBend;
    std::vector<double> noise_;  // by family: the likeliest so far
    std::size_t families_ = 1;
    bool laid_ = false;
    std::vector<State> predicted_, filtered_;
};

}  // namespace

TimeScatter split_scatter(std::span<const CourseMark> given) {
    std::vector<CourseMark> marks(given.begin(), given.end());
    std::vector<double> own;
    for (const auto& m : marks)
        if (m.family == 0 && std::isfinite(m.value)) own.push_back(m.value);
    if (own.size() < kFewest) throw std::invalid_argument("split_scatter: fewer than 8 values");
    // In units of the values' own spread, so that the vague start is vague whatever the unit.
    const double unit = std::max(stats::kMadToSd * stats::median_absolute_deviation(own), 1e-12);
    const double middle = stats::median(own);
    for (auto& m : marks) m.value = (m.value - middle) / unit;

    TimeScatter out;
    Course course{std::move(marks)};
    course.leave_out_lone_strays();
    const bool others = course.families() > 1;
    if (others) {  // first by family 0 alone
        const double variance = course.filter(course.likeliest(), true).variance;
        course.lay_families(course.smooth(), variance);
    }
    Ratios ratios;
    for (int round = 0; round < kRounds; ++round) {
        ratios = course.likeliest();
        const double sd = std::sqrt(course.filter(ratios, true).variance);
        const auto at = course.smooth();
        out.sd = sd * unit;
        out.course.assign(at.size(), 0.0);
        for (std::size_t k = 0; k < at.size(); ++k) out.course[k] = at[k] * unit + middle;
        if (course.leave_out_strays(at, sd) < kFewest) break;
    }
    out.least_sd = out.sd * std::sqrt(course.least_share(ratios));
    return out;
}

}  // namespace idlehark
