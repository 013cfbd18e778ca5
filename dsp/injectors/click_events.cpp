#include "dsp/injectors/click_events.hpp"

#include "dsp/dot.hpp"
#include "dsp/injectors/click_pair.hpp"
#include "dsp/statistics.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

namespace idlehark {

namespace {

constexpr double kShape_s = 14e-3;  // each side: an idle's opening time is 2-5 ms, cold 10
constexpr double kLag_s =
    5e-3;  // how far an event may be from where it is due: the path may step from opening to closing
constexpr double kLateLag_s = 1.2e-3;       // once the course of the crank is known
constexpr double kFarTimes = 1.5;           // of the line between heard and missed: doubtful enough to look further
constexpr double kFarLeast = 0.6;           // of a typical click: what counts that far off
constexpr double kLookEvery_s = 0.5e-3;     // within what place_click() reaches
constexpr int kLooks = 10;                  // each way
constexpr double kSurelyOnePart = 0.7;      // of the energy in common: what rings alike elsewhere is the same part
constexpr double kAheadLag_s = 4e-3;        // about where the course of the clicks leads
constexpr double kFurthestCourse = 2000.0;  // grid steps: 100 ms
constexpr std::ptrdiff_t kCourseBack = 8;   // events
constexpr std::ptrdiff_t kPaceBack = 4;     // the crank keeps its pace no longer
constexpr std::ptrdiff_t kBothSides = 3;
constexpr std::size_t kDoubtfulRun = 3;  // missing at an end
constexpr std::size_t kLongestRun = 8;
constexpr int kBlur = 1;  // grid steps each side
constexpr int kRounds = 4;
constexpr double kAlike = 0.3;  // of the mean energy in the shared waveform: the clicks are alike
constexpr double kCore = 0.06;  // of the shape's peak: what counts as click
constexpr double kMissedBelow = 0.25;
constexpr double kMissedFrom = 0.12;  // the line between heard and missed is looked for in this range of strengths
constexpr double kMissedTo = 0.62;

constexpr double kBeforeClosing_s = 0.15e-3;  // a click's start in the mean is later than its first swing

constexpr int kShape = ClickEnvelope::steps(kShape_s);
constexpr int kLag = ClickEnvelope::steps(kLag_s);
constexpr int kReach = kShape + kLag + kBlur;

using Row = std::vector<float>;

float power(const Wave& z, std::size_t i) { return z.re[i] * z.re[i] + z.im[i] * z.im[i]; }

/// Envelope power, blurred over 0.15 ms.
Row power_of(const Wave& z) {
    Row raw(z.size());
    for (std::size_t i = 0; i < z.size(); ++i) raw[i] = power(z, i);
    Row out(z.size(), 0.F);
    for (std::size_t i = kBlur; i + kBlur < z.size(); ++i)
        for (std::size_t k = i - kBlur; k <= i + kBlur; ++k) out[i] += raw[k] / (2 * kBlur + 1);
    return out;
}

/// The template as used in the comparison: what rises over the noise in the click's core.
struct Template {
    std::vector<float> weight;  // 2 * kShape + 1
    int first = 0, last = -1;   // where it is not zero
    double norm = 0.0;          // sum of squares
    double sum = 0.0;
};

Template template_of(std::span<const double> shape, double noise) {
    Template t;
    t.weight.assign(shape.size(), 0.F);
    const double peak = *std::max_element(shape.begin(), shape.end()) - noise;
    for (std::size_t i = 0; i < shape.size(); ++i) {
        const double over = shape[i] - noise;
        if (over < kCore * peak) continue;
        t.weight[i] = static_cast<float>(over);
        if (t.last < 0) t.first = static_cast<int>(i);
        t.last = static_cast<int>(i);
        t.norm += over * over;
        t.sum += over;
    }
    return t;
}

struct Match {
    double lag = 0.0;  // grid steps
    double strength = 0.0;
};

/// Best place of the template within `reach` of `about` (grid steps from the due time).
Match match(const Row& row, const Template& t, double noise, double about, int reach) {
    Match best;
    best.strength = -1e300;
    const int centre = static_cast<int>(std::lround(about));
    const int low = std::max(centre - reach, -kLag);
    const int high = std::min(centre + reach, kLag);
    std::vector<double> score(index(std::max(high - low + 1, 1)), -1e300);
    for (int lag = low; lag <= high; ++lag) {
        const float sum =
            dot(t.weight.data() + t.first, row.data() + kReach - kShape + lag + t.first, index(t.last - t.first + 1));
        const double s = (static_cast<double>(sum) - noise * t.sum) / std::max(t.norm, 1e-300);
        score[index(lag - low)] = s;
        if (s > best.strength) best = {static_cast<double>(lag), s};
    }
    const int at = static_cast<int>(best.lag) - low;
    if (at > 0 && at < high - low) {
        const double a = score[index(at - 1)];
        const double b = score[index(at)];
        const double c = score[index(at + 1)];
        if (a - 2 * b + c < 0.0) best.lag += 0.5 * (a - c) / (a - 2 * b + c);
    }
    return best;
}

std::vector<double> mean_shape(const std::vector<Row>& rows, const std::vector<Match>& at, double least) {
    std::vector<double> shape(2 * kShape + 1, 0.0);
    double count = 0.0;
    for (std::size_t e = 0; e < rows.size(); ++e) {
        if (at[e].strength < least) continue;
        const double lag = std::clamp(at[e].lag, -static_cast<double>(kLag), static_cast<double>(kLag));
        const int whole = static_cast<int>(std::floor(lag));
        const double share = lag - whole;
        for (int i = 0; i <= 2 * kShape; ++i) {
            const auto k = index(kReach - kShape + whole + i);
            const auto here = static_cast<double>(rows[e][k]);
            const auto next = static_cast<double>(rows[e][std::min(k + 1, rows[e].size() - 1)]);
            shape[index(i)] += here + share * (next - here);
        }
        count += 1.0;
    }
    for (auto& v : shape) v /= std::max(count, 1.0);
    return shape;
}

std::vector<double> strengths_of(const std::vector<Match>& at) {
    std::vector<double> strengths;
    strengths.reserve(at.size());
    for (const auto& m : at) strengths.push_back(m.strength);
    return strengths;
}

/// In units of the typical click: the median of those that are clearly there.
void scale_to_typical(std::vector<Match>& at) {
    const auto strengths = strengths_of(at);
    std::vector<double> upper;
    const double top = stats::quantile(strengths, 0.9);
    for (const double s : strengths)
        if (s > 0.4 * top) upper.push_back(s);
    const double typical = upper.empty() ? 1.0 : std::max(stats::median(upper), 1e-12);
    for (auto& m : at) m.strength /= typical;
}

/// Where the strengths between kMissedFrom and kMissedTo leave the widest gap (in ratio).
double dividing_line(const std::vector<Match>& at) {
    auto strength = strengths_of(at);
    std::sort(strength.begin(), strength.end());
    double line = kMissedBelow;
    double widest = 1.6;  // a narrower gap is no gap
    double below = kMissedFrom;
    for (const double s : strength) {
        if (s <= kMissedFrom) continue;
        const double to = std::min(s, kMissedTo);
        if (to / below > widest) {
            widest = to / below;
            line = std::sqrt(to * below);
        }
        if (s >= kMissedTo) break;
        below = s;
    }
    return line;
}

/// Where the heard ones of the events `e + first` to `e + last` have `e` lie, by a straight line; nothing with fewer
/// than three of them. `place_of` says where an event lies.
template <class PlaceOf>
std::optional<double> line_through(const std::vector<Match>& at, std::size_t e, std::ptrdiff_t first,
                                   std::ptrdiff_t last, double line, PlaceOf place_of) {
    double n = 0.0, sx = 0.0, sy = 0.0, sxx = 0.0, sxy = 0.0;
    for (auto k = first; k <= last; ++k) {
        const auto i = static_cast<std::ptrdiff_t>(e) + k;
        if (k == 0 || i < 0 || i >= std::ssize(at) || at[index(i)].strength < line) continue;
        const auto x = static_cast<double>(k);
        const double y = place_of(index(i));
        n += 1.0, sx += x, sy += y, sxx += x * x, sxy += x * y;
    }
    if (n < 3.0) return {};
    const double slope = (n * sxy - sx * sy) / std::max(n * sxx - sx * sx, 1e-9);
    return (sy - slope * sx) / n;
}

}  // namespace

int event_reach() noexcept { return kReach; }

ClickEvents measure_events(const ClickEnvelope& sound, std::span<const double> due_s, std::span<const double> quiet_s) {
    ClickEvents out;
    std::vector<Wave> quiet;
    double noise = 0.0;
    for (const double t : quiet_s) {
        quiet.push_back(sound.read(t));
        for (const auto& v : power_of(quiet.back())) noise += static_cast<double>(v);
    }
    noise /= std::max(1.0, static_cast<double>(quiet.size() * sound.size()));
    std::vector<Row> rows;
    for (const double t : due_s) rows.push_back(power_of(sound.read(t)));

    std::vector<double> moved(rows.size(), 0.0);  // of a row against its due time, grid steps
    std::vector<Match> at(rows.size(), Match{0.0, 1.0});
    auto shape = mean_shape(rows, at, 0.0);
    Template t = template_of(shape, noise);
    double line = kMissedBelow;
    for (int round = 0; round < kRounds; ++round) {
        const bool late = round >= 2;
        for (std::size_t e = 0; e < rows.size(); ++e) {
            double about = 0.0;
            if (late) {  // where the events around it lie
                double sum = 0.0;
                double count = 0.0;
                for (std::size_t k = e >= 4 ? e - 4 : 0; k <= std::min(e + 4, rows.size() - 1); ++k)
                    if (k != e && at[k].strength > line) {
                        sum += at[k].lag;
                        count += 1.0;
                    }
                about = count > 0.0 ? sum / count : 0.0;
            }
            at[e] = match(rows[e], t, noise, about, late ? ClickEnvelope::steps(kLateLag_s) : kLag);
            if (!late || at[e].strength > kFarTimes * line) continue;
            // Far off, yet clearly there: the clock slips at the ends of a recording.
            if (const auto far = match(rows[e], t, noise, 0.0, kLag); far.strength > kFarLeast) at[e] = far;
        }
        scale_to_typical(at);
        line = dividing_line(at);
        shape = mean_shape(rows, at, line);
        t = template_of(shape, noise);
    }

    const auto core = [&](int i) { return index(kReach - kShape + i); };
    out.core_first = core(t.first);
    out.core_last = core(t.last);
    const auto time_of = [&](std::size_t e) { return due_s[e] + (moved[e] + at[e].lag) * ClickEnvelope::kStep_s; };

    // By waveform, which tells strengths and times better: a click of one part rings alike each time, and what the
    // neighbours send at the same moment does not ring like it.
    std::vector<double> clear_s;
    for (std::size_t e = 0; e < at.size(); ++e)
        if (at[e].strength >= line) clear_s.push_back(time_of(e));
    out.noise = noise;
    out.shape = {shape, -kShape_s, ClickEnvelope::kStep_s};
    const double closing_s = find_pairs(out.shape).front().close_s - kBeforeClosing_s;
    out.core_closing = std::isfinite(closing_s) && std::fabs(closing_s) < kShape_s
                           ? core(kShape + ClickEnvelope::steps(closing_s))
                           : out.core_first;
    auto wave = average_clicks(sound, clear_s, out.core_first, out.core_closing, out.core_last, noise);
    double common = 0.0;
    double all = 0.0;
    for (int i = t.first; i <= t.last; ++i) {
        if (!wave.parts.empty()) common += static_cast<double>(power(wave.mean, core(i)));
        all += shape[index(i)] - noise;
    }
    if (all > 0.0) out.common_share = common / all;
    out.alike = !wave.parts.empty() && common > kAlike * all;
    std::vector<ClickPlace> rings;
    if (out.alike) {
        auto next = wave.clicks.begin();
        for (std::size_t e = 0; e < at.size(); ++e)
            rings.push_back(at[e].strength >= line ? *next++ : place_click(sound, wave, time_of(e)));
    }
    // The envelope may have been laid with an opening on a closing click: what does not ring there may ring nearby.
    for (std::size_t e = 0; e < rings.size() && out.common_share > kSurelyOnePart; ++e)
        for (int k = -kLooks; k <= kLooks && rings[e].strength < kFarLeast; ++k)
            if (const auto found = place_click(sound, wave, due_s[e] + k * kLookEvery_s); found.strength >= kFarLeast)
                rings[e] = found;
    const auto by_waveform = [&] {
        for (std::size_t e = 0; e < rings.size(); ++e) at[e].strength = rings[e].strength;
        scale_to_typical(at);
        line = dividing_line(at);
    };
    if (out.alike) by_waveform();

    // Where the clock ran off, the clicks themselves lead on: by their course on it, or by their own pace, as where the
    // speed was misread for a second.
    bool led = false;
    const auto found_at = [&](std::size_t e, std::optional<double> ahead, double least, double reach_s) {
        if (!ahead || std::fabs(*ahead) > kFurthestCourse) return false;
        const auto row = power_of(sound.read(due_s[e] + *ahead * ClickEnvelope::kStep_s));
        const auto found = match(row, t, noise, 0.0, ClickEnvelope::steps(reach_s));
        if (found.strength < least) return false;
        moved[e] = *ahead;
        at[e] = found;
        if (out.alike) rings[e] = place_click(sound, wave, time_of(e));
        led = true;
        return true;
    };
    const auto by_course = [&](std::size_t e, std::ptrdiff_t first, std::ptrdiff_t last) {
        return line_through(at, e, first, last, line, [&](std::size_t i) { return moved[i] + at[i].lag; });
    };
    const auto by_pace = [&](std::size_t e, std::ptrdiff_t first, std::ptrdiff_t last) {
        auto place = line_through(at, e, first, last, line, time_of);
        if (place) *place = (*place - due_s[e]) / ClickEnvelope::kStep_s;
        return place;
    };
    const auto lead_on = [&](std::size_t e, bool forward) {
        if (at[e].strength >= line) return;
        const auto course = forward ? by_course(e, -kCourseBack, -1) : by_course(e, 1, kCourseBack);
        if (found_at(e, course, kFarLeast, kAheadLag_s)) return;
        const auto pace = forward ? by_pace(e, -kPaceBack, -1) : by_pace(e, 1, kPaceBack);
        found_at(e, pace, kFarLeast, kAheadLag_s);
    };
    for (std::size_t e = 0; e < rows.size(); ++e) lead_on(e, true);
    for (std::size_t e = rows.size(); e-- > 0;) lead_on(e, false);
    // Fainter ones where those on both sides have them.
    for (std::size_t e = 0; e < rows.size(); ++e)
        if (at[e].strength < line) found_at(e, by_pace(e, -kBothSides, kBothSides), line, kLateLag_s);
    // One laid with an opening on a closing click lies off those on both sides, and rings there by half.
    for (std::size_t e = 0; e < rings.size(); ++e) {
        const auto between = by_pace(e, -kBothSides, kBothSides);
        if (!between || std::fabs(*between - moved[e] - at[e].lag) * ClickEnvelope::kStep_s < kLateLag_s) continue;
        const auto there = place_click(sound, wave, due_s[e] + *between * ClickEnvelope::kStep_s);
        if (there.strength <= rings[e].strength) continue;
        moved[e] = *between;
        at[e].lag = 0.0;
        rings[e] = there;
        led = true;
    }
    if (led && out.alike) by_waveform();

    // Several missing at the very end may be beyond the course of the clicks: nothing can be said of them.
    const auto lost = [&](auto outermost) {
        std::size_t run = 0;
        for (; run < std::min(kLongestRun, at.size()) && outermost->strength < line; ++outermost) ++run;
        return run < kDoubtfulRun ? 0 : run;
    };
    const std::size_t first = lost(at.begin());
    const std::size_t end = std::max(first, at.size() - lost(at.rbegin()));
    out.first_due = first;
    for (std::size_t e = first; e < end; ++e) {
        const bool heard = at[e].strength >= line;
        out.missed += heard ? 0 : 1;
        out.strength.push_back(at[e].strength);
        out.heard_s.push_back(!heard ? std::nan("") : out.alike ? rings[e].time_s : time_of(e));
        if (out.alike) out.part_s.push_back(rings[e].part_s);
    }
    if (out.alike) {
        out.timing_error_s = timing_error_s(wave, quiet);
        out.wave = std::move(wave);
        return out;
    }

    // The same measurement on the mean click laid over stretches of the recording's own noise.
    std::vector<double> errors;
    for (const auto& n : quiet) {
        auto laid = n;
        for (int i = 0; i <= 2 * kShape; ++i) {
            const double a = std::sqrt(std::max(0.0, shape[index(i)] - noise));
            laid.re[core(i)] += static_cast<float>(a);
        }
        errors.push_back(match(power_of(laid), t, noise, 0.0, ClickEnvelope::steps(kLateLag_s)).lag *
                         ClickEnvelope::kStep_s);
    }
    if (errors.size() >= 8) out.timing_error_s = stats::kMadToSd * stats::median_absolute_deviation(errors);
    return out;
}

}  // namespace idlehark
