#include "dsp/track/comb_search.hpp"

#include "dsp/summit.hpp"
#include "dsp/track/line_evidence.hpp"
#include "dsp/turned.hpp"
#include "dsp/windows.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>
#include <stdexcept>

namespace idlehark {

namespace {
// The window: long enough to part the firing lines (4.5 lines' spacing), short enough for a surging engine.
constexpr double kShortestWindow_s = 0.5;
constexpr double kLongestWindow_s = 1.0;
constexpr double kLinesToPart = 4.5;
constexpr double kLowestLine_hz = 12.0;
constexpr double kHighestLine_hz = 600.0;  // above, a surge smears lines within the window
constexpr double kFewestLines = 12.0;      // many cylinders need a wider band for as many lines
constexpr double kHighestModulation_hz = 200.0;
constexpr double kSteepest_per_s = 0.26;
constexpr double kSteepestEnvelope_per_s = 0.2;
constexpr double kUsualSlope_per_s = 0.12;  // a strong surge reaches more than twice this, and shows so clearly
// Lines between the p-th multiples must carry their share of the evidence, up to this much.
constexpr double kGapSlack = 3.0;
constexpr float kStrongLine = 20.F;  // power over the floor
constexpr float kMissingLine = 2.5F;
constexpr double kHoleCost = 4.0;
// Mean log power (natural) by which p-th multiples must exceed the other lines: 5 dB half believed; open recordings of
// idles reach 4 dB, of faster engines 6 to 9.
constexpr double kExcess = 1.15;
constexpr double kExcessOfMany = 0.85;  // for p = 3 and 4, where open idles stay below 2.5 dB
constexpr double kExcessSpread = 0.1;
constexpr double kRivalMargin = 2.0;
// Out of range only where the other lines stand clear of the floor too (mean log power): in noise, an idle whose even
// lines happen to be the stronger looks the same.
constexpr double kClearLine = 1.8;
constexpr double kFirstHeard = 1.5;  // log power over the floor of the loudest of three lines; noise gives 0.45
// Log power: 3.5 dB. Four open recordings of idles lie below 0, two of faster engines at 1 to 3.
constexpr double kLaterOverFirst = 0.8;
constexpr double kLaterOverBeside = 1.7;  // a resonance of the engine's own gives 1.6
constexpr double kClearComb = 22.0;       // evidence: in noise, upper bands that do not beat prove nothing
constexpr double kOvertoneMemory = 0.1;   // per frame
constexpr std::uint64_t kOvertoneFrames = 8;
constexpr double kNoBeat = 2.2;       // as noise gives
constexpr double kBeatHeard = 8.0;    // mean power over the floor of the first two modulation lines
constexpr double kLineSpread = 0.55;  // standard deviation of one line's evidence over noise, measured
// Evidence of a line between against one of the firing lines; even firing stays below 0.12.
constexpr double kAlternates = 0.25;
constexpr double kGridStep = 0.005;
constexpr float kOverNoise = 0.125F;  // eight times the floor: noise alone stays below
constexpr float kOrdinaryLine = 8.F;  // power over the floor
constexpr float kOverThird = 2.F;
constexpr int kMostStretches = 5;  // of 1.2 % of speed
constexpr int kMostTurns = 3;
// The speeds looked at reach beyond the stated idle: warm-up, hunting, a wrong idle screw.
constexpr double kBelowIdle = 0.72;
constexpr double kAboveIdle = 1.45;
constexpr double kStatedMargin = 1.15;  // of the stated idle's ends, between which a rival is taken instead
constexpr std::array<double, 6> kSharedLines{0.5, 2.0 / 3.0, 0.75, 4.0 / 3.0, 1.5, 2.0};
constexpr double kNearlyAsClear = 0.5;
constexpr double kExpectedLine = 0.35;  // share of full strength from which a half order belongs to the firing comb
// Local floor: a low quantile of overlapping groups of bins, so that lines do not raise it.
constexpr std::size_t kFloorBlock = 8;  // bins; the floor is looked for in two blocks at a time
constexpr std::size_t kFloorRank = 4;
constexpr double kFloorQuantile = 0.3;  // what the fifth of sixteen is
constexpr float kFloorMemory = 0.07F;   // per frame: about 1.4 s
constexpr double kNeighbourhood_hz = 25.0;
// Quieter than any microphone: below this there is nothing to hear (mean square per sample; -110 dBFS).
constexpr double kLeastSound = 1e-11;
// Log power of a millisecond of noise scatters by more than this (variance; sqrt(2/192) at 192 kHz), so a steadier
// envelope is a machine's rounding.
constexpr double kLeastEnvelope = 5e-3;
// Of the window's power, spread evenly: what windows leak of a pure tone and more.
constexpr double kLeastShare = 1e-8;
constexpr double kHumAlone = 0.998;  // of the power in hum: is the microphone plugged in?

double highest_line_hz(const Engine& e, double rate_hz) {
    const double wanted_hz = kFewestLines * firing_frequency(e, Rpm{e.idle_low_rpm}).value;
    return std::min(std::max(wanted_hz, kHighestLine_hz), 0.42 * rate_hz);
}

std::vector<int> expected_lines(const Engine& e, double lowest_cycle_hz, double highest_hz) {
    const auto at = firing_fractions(e);
    std::vector<int> lines;
    for (int m = 1; m * lowest_cycle_hz < highest_hz; ++m) {
        std::complex<double> sum;
        for (const double fraction : at) sum += std::polar(1.0, -2.0 * std::numbers::pi * m * fraction);
        if (std::abs(sum) >= kExpectedLine * e.cylinders) lines.push_back(m);
    }
    return lines;
}

/// Cylinders that fire unevenly repeat less often than they fire, and their lines lie closer.
double window_length(const Engine& e, int pattern_repeats) {
    const double spacing_hz = pattern_repeats * cycle_frequency(e, Rpm{e.idle_low_rpm}).value;
    return std::clamp(kLinesToPart / spacing_hz, kShortestWindow_s, kLongestWindow_s);
}

/// The bin nearest to a place on the frequency axis that is not negative.
std::size_t nearest(double bins) {
    return static_cast<std::size_t>(bins + 0.5);  // NOLINT(bugprone-incorrect-roundings): lround is slow here
}

/// Calls act(line, bin) for the lines of a comb that a channel can hear.
template <class Channel, class Act>
void each_line(const Channel& c, std::span<const int> lines, double cycle_hz, Act&& act) {
    for (const int m : lines) {
        const auto b = nearest(cycle_hz * m / c.bin_hz);
        if (b + 1 >= c.used_bins) break;
        if (static_cast<double>(b) * c.bin_hz >= kLowestLine_hz) act(m, b);
    }
}

/// Sum of many logarithms by one: the product is kept, and its logarithm taken before it could overflow.
class SumOfLogs {
   public:
    void add(double v) {
        product_ *= v;
        if (product_ > 1e200 || product_ < 1e-200) sum_ = value(), product_ = 1.0;
    }
    [[nodiscard]] double value() const { return sum_ + std::log(product_); }

   private:
    double product_ = 1.0, sum_ = 0.0;
};
}  // namespace

template <std::size_t kSlopeCount>
CombSearch::Channel<kSlopeCount>::Channel(double rate, double window_s, double highest_hz, double steepest_per_s,
                                          double quietest)
    : rate_hz(rate),
      length(static_cast<std::size_t>(window_s * rate)),
      used_bins(0),
      fft(RealFft::good_size(length)),
      floor(kFloorBlock, kFloorRank),
      bin_hz(rate / static_cast<double>(fft.size())),
      least_variance(quietest) {
    used_bins = std::min(fft.bins(), static_cast<std::size_t>(highest_hz / bin_hz) + 2);
    constexpr std::size_t kWhole = 2 * kFloorBlock;
    used_bins = (used_bins + kWhole - 1) / kWhole * kWhole;
    used_bins = std::min(used_bins, fft.bins() / kWhole * kWhole);
    const auto hann = hann_window(length);
    for (const float w : hann) window_energy += static_cast<double>(w) * static_cast<double>(w);
    const double middle = 0.5 * static_cast<double>(length - 1);
    for (std::size_t s = 0; s < kSlopeCount; ++s) {
        const double slope =
            steepest_per_s * (2.0 * static_cast<double>(s) / static_cast<double>(kSlopeCount - 1) - 1.0);
        slopes[s] = slope;
        Warp warp;
        for (std::size_t i = 0; i < length; ++i) {
            // The sound's phase runs as u = t + slope t^2/2; its inverse puts equal phase steps on the new axis.
            const double u = (static_cast<double>(i) - middle) / rate;
            const double t =
                std::abs(slope) < 1e-9 ? u : (std::sqrt(std::max(0.0, 1.0 + 2.0 * slope * u)) - 1.0) / slope;
            const double x = std::clamp(t * rate + middle, 0.0, static_cast<double>(length) - 1.001);
            const auto from = static_cast<std::int32_t>(x);
            const auto part = static_cast<float>(x - from);
            const std::ptrdiff_t shift = from - static_cast<std::ptrdiff_t>(i);
            if (warp.runs.empty() || warp.runs.back().shift != shift)
                warp.runs.push_back({.begin = i, .end = i + 1, .shift = shift});
            else
                warp.runs.back().end = i + 1;
            warp.a.push_back((1.F - part) * hann[i]);
            warp.b.push_back(part * hann[i]);
        }
        warps.push_back(std::move(warp));
    }
    window_sound.resize(length);
    frame.assign(fft.size(), 0.F);
    bins.resize(fft.bins());
    power.resize(used_bins);
    log_floor.assign(used_bins / kFloorBlock - 1, 0.F);
    ratio.assign(used_bins * kLanes, 0.F);
    evidence = ratio;
    running.assign((used_bins + 1) * kLanes, 0.F);
    one_over.assign(1, 0.F);
    for (std::size_t n = 1; n <= used_bins; ++n) one_over.push_back(1.F / static_cast<float>(n));
}

template <std::size_t kSlopeCount>
void CombSearch::Channel<kSlopeCount>::update_floor() {
    const auto quantile = floor.of(power);
    const auto unbias = static_cast<float>(-1.0 / std::log(1.0 - kFloorQuantile));
    std::array<float, 256> now{};
    for (std::size_t g = 0; g < log_floor.size(); ++g) {
        const float level = std::log(quantile[g] * unbias + least_floor);
        log_floor[g] = floor_known ? log_floor[g] + kFloorMemory * (level - log_floor[g]) : level;
        // Against the present floor too: a sudden noise must not look like lines everywhere.
        now[g] = std::exp(std::max(log_floor[g], level));
    }
    floor_known = true;
    // Straight lines between the groups' centres give each bin its floor.
    inverse_floor.resize(used_bins);
    for (std::size_t b = 0; b < used_bins; ++b) {
        const float x = (static_cast<float>(b) + 0.5F) / kFloorBlock - 1.F;
        const float clamped = std::clamp(x, 0.F, static_cast<float>(log_floor.size() - 1) - 0.001F);
        const auto g = static_cast<std::size_t>(clamped);
        const float part = clamped - static_cast<float>(g);
        inverse_floor[b] = 1.F / (now[g] * (1.F - part) + now[g + 1] * part);
    }
}

template <std::size_t kSlopeCount>
void CombSearch::Channel<kSlopeCount>::analyse(const Timeline& signal, double time_s) {
    const auto first = signal.index_at(time_s) - static_cast<std::int64_t>(length / 2);
    signal.copy(first, window_sound);
    // Silence around the recording's ends must not look like a step.
    const float mean = std::accumulate(window_sound.begin(), window_sound.end(), 0.F) / static_cast<float>(length);
    float power_sum = 0.F;
    for (float& v : window_sound) {
        v -= mean;
        power_sum += v * v;
    }
    least_floor = static_cast<float>(window_energy * (least_variance + kLeastShare * static_cast<double>(power_sum)));
    constexpr std::size_t kStraight = kSlopeCount / 2;
    const auto transform = [&](std::size_t s) {
        const Warp& w = warps[s];
        for (const auto& run : w.runs) {
            const float* const from = window_sound.data() + run.shift;
            for (std::size_t i = run.begin; i < run.end; ++i) frame[i] = w.a[i] * from[i] + w.b[i] * from[i + 1];
        }
        fft.forward(frame, bins);
        for (std::size_t b = 0; b < used_bins; ++b) {
            const float re = bins[b].real();
            const float im = bins[b].imag();
            power[b] = re * re + im * im;
        }
    };
    const auto over_floor = [&](std::size_t s) {
        for (std::size_t b = 0; b < used_bins; ++b) ratio[b * kLanes + s] = power[b] * inverse_floor[b];
    };
    transform(kStraight);
    anything = static_cast<double>(power_sum) > least_variance * static_cast<double>(length);
    if (hum) {
        hum->hear(bins, bin_hz, signal.time_s(first));
        anything = anything && hum->share(bin_hz, power) < kHumAlone;
    }
    update_floor();
    over_floor(kStraight);
    for (std::size_t s = 0; s < kSlopeCount; ++s) {
        if (s == kStraight) continue;
        transform(s);
        over_floor(s);
    }
    weigh();
}

/// A line's evidence counts against its neighbourhood's: a comb must lie on the ridges and leave the valleys, and a
/// band that is loud throughout speaks for no comb.
template <std::size_t kSlopeCount>
void CombSearch::Channel<kSlopeCount>::weigh() {
    if (hum) hum->mute(bin_hz, ratio, kLanes);
    line_evidence(ratio, evidence);
    for (std::size_t i = 0; i < used_bins * kLanes; ++i) running[i + kLanes] = running[i] + evidence[i];
    const auto reach = static_cast<std::size_t>(kNeighbourhood_hz / bin_hz);
    const auto less_around = [&](std::size_t b, std::size_t low, std::size_t high) {
        for (std::size_t l = 0; l < kLanes; ++l)
            evidence[b * kLanes + l] -= (running[high * kLanes + l] - running[low * kLanes + l]) * one_over[high - low];
    };
    for (std::size_t b = 0; b < used_bins; ++b)
        less_around(b, b - std::min(b, reach), std::min(used_bins, b + reach + 1));
    std::fill_n(evidence.begin(), kLanes, 0.F);  // bin 0 stands for lines below what can be heard
}

MainsHum::MainsHum(double highest_hz) {
    for (const double mains_hz : {50.0, 60.0}) {
        Family f;
        for (double line_hz = mains_hz; line_hz < highest_hz; line_hz += mains_hz) f.lines.emplace_back(line_hz);
        families_.push_back(std::move(f));
    }
}

void MainsHum::hear(std::span<const std::complex<float>> bins, double bin_hz, double first_sample_s) {
    for (auto& family : families_) {
        int steady = 0;
        for (auto& line : family.lines) {
            const auto b = static_cast<std::size_t>(std::lround(line.hz / bin_hz));
            const std::complex<double> now = std::complex<double>(bins[b]) * turned(line.hz * first_sample_s);
            const std::complex<double> before = line.past[at_ % kLag];
            const std::complex<double> just_before = line.past[(at_ + kLag - 1) % kLag];
            line.past[at_ % kLag] = now;
            if (at_ >= kLag) {
                line.agreement += kMemory * (now * std::conj(before) - line.agreement);
                line.turn += kMemory * (now * std::conj(just_before) - line.turn);
                line.power += kMemory * (0.5 * (std::norm(now) + std::norm(before)) - line.power);
            }
            line.steady = std::abs(line.agreement) > kCoherent * line.power && line.power > 0.0 &&
                          std::abs(std::arg(line.agreement)) < kPhaseTolerance &&
                          std::abs(std::arg(line.turn)) < kTurnTolerance;
            steady += line.steady;
        }
        family.present = steady >= kLinesOfHum && at_ > 3 * kLag;
    }
    ++at_;
}

template <class Do>
void MainsHum::each_bin(double bin_hz, std::size_t bins, Do&& act) const {
    for (const auto& family : families_) {
        if (!family.present) continue;
        for (const auto& line : family.lines) {
            if (!line.steady) continue;
            const auto low = static_cast<std::size_t>(std::max(0.0, (line.hz - kWidth_hz) / bin_hz));
            const auto high = std::min(bins, static_cast<std::size_t>((line.hz + kWidth_hz) / bin_hz) + 2);
            for (std::size_t b = low; b < high; ++b) act(b);
        }
    }
}

void MainsHum::mute(double bin_hz, std::span<float> ratio, std::size_t lanes) const {
    each_bin(bin_hz, ratio.size() / lanes, [&](std::size_t b) {
        for (float& r : ratio.subspan(b * lanes, lanes)) r = std::min(r, kUndecided);
    });
}

double MainsHum::share(double bin_hz, std::span<const float> power) const {
    double hum = 0.0;
    each_bin(bin_hz, power.size(), [&](std::size_t b) { hum += static_cast<double>(power[b]); });
    const double all = std::accumulate(power.begin(), power.end(), 0.0);
    return all > 0.0 ? hum / all : 0.0;
}

CombSearch::CombSearch(const Signals& rates, const Engine& engine)
    : low_cycle_hz_(cycle_frequency(engine, Rpm{engine.idle_low_rpm}).value * kBelowIdle),
      high_cycle_hz_(cycle_frequency(engine, Rpm{engine.idle_high_rpm}).value * kAboveIdle),
      lines_(expected_lines(engine, low_cycle_hz_, highest_line_hz(engine, rates.mid.rate_hz()))),
      spacing_(std::accumulate(lines_.begin(), lines_.end(), 0, [](int a, int b) { return std::gcd(a, b); })),
      window_s_(window_length(engine, spacing_)),
      mid_(rates.mid.rate_hz(), window_s_, highest_line_hz(engine, rates.mid.rate_hz()), kSteepest_per_s, kLeastSound),
      envelope_{Channel<kEnvelopeSlopes>(rates.envelope[0].rate_hz(), window_s_, kHighestModulation_hz,
                                         kSteepestEnvelope_per_s, kLeastEnvelope),
                Channel<kEnvelopeSlopes>(rates.envelope[1].rate_hz(), window_s_, kHighestModulation_hz,
                                         kSteepestEnvelope_per_s, kLeastEnvelope)} {
    if (lines_.empty()) throw std::invalid_argument("idle range: the engine would fire too fast to be followed");
    stated_low_hz_ = cycle_frequency(engine, Rpm{engine.idle_low_rpm}).value / kStatedMargin;
    stated_high_hz_ = cycle_frequency(engine, Rpm{engine.idle_high_rpm}).value * kStatedMargin;
    const auto count = static_cast<std::size_t>(std::log(high_cycle_hz_ / low_cycle_hz_) / kGridStep) + 2;
    for (std::size_t c = 0; c < count; ++c)
        candidates_hz_.push_back(low_cycle_hz_ * std::exp(kGridStep * static_cast<double>(c)));
    mid_.hum.emplace(static_cast<double>(mid_.used_bins - 2) * mid_.bin_hz);
    if (engine.firing_angles_deg.empty() && spacing_ % 2 == 0)
        for (const int m : lines_) alternate_lines_.push_back(m - spacing_ / 2);
    std::merge(lines_.begin(), lines_.end(), alternate_lines_.begin(), alternate_lines_.end(),
               std::back_inserter(all_lines_));
    mid_table_ = table_for(mid_, lines_);
    alternate_table_ = table_for(mid_, alternate_lines_);
    envelope_table_ = table_for(envelope_[0], lines_);
    sum_.resize(count * Channel<kSlopes>::kLanes);
    envelope_sum_.resize(count * Channel<kEnvelopeSlopes>::kLanes);
    best_.resize(count);
    best_slope_.resize(count);
    peaks_.reserve(count);
    for (std::size_t s = 0; s < kSlopes; ++s) {
        const double wanted = mid_.slopes[s];
        for (std::size_t i = 1; i < kEnvelopeSlopes; ++i)
            if (std::abs(envelope_[0].slopes[i] - wanted) < std::abs(envelope_[0].slopes[beside_[s]] - wanted))
                beside_[s] = i;
        const double steep = wanted / kUsualSlope_per_s;
        steepness_[s] = static_cast<float>(0.5 * steep * steep);
    }
}

template <std::size_t n>
CombSearch::LineTable CombSearch::table_for(const Channel<n>& c, std::span<const int> lines) const {
    LineTable table;
    for (const int m : lines) {
        std::vector<std::uint16_t> at;
        for (const double f : candidates_hz_) {
            const double line_hz = f * m;
            const auto b = static_cast<std::size_t>(std::lround(line_hz / c.bin_hz));
            if (b + 1 >= c.used_bins) break;
            // Bin 0 stands for "below what a line can be heard at": it is given no evidence.
            at.push_back(line_hz < kLowestLine_hz ? std::uint16_t{0} : static_cast<std::uint16_t>(b));
        }
        if (at.empty()) break;
        table.bin.push_back(std::move(at));
    }
    return table;
}

/// Adds to every candidate the evidence of all its lines; four lines at a time while all four reach all candidates.
template <std::size_t n>
void CombSearch::add_lines(const LineTable& table, const Channel<n>& c, std::span<float> sum) {
    constexpr std::size_t kLanes = Channel<n>::kLanes;
    const auto at = [&](std::uint16_t bin) { return c.evidence.data() + bin * kLanes; };
    const auto add_one = [&](std::size_t line, std::size_t from) {
        const auto& bins = table.bin[line];
        for (std::size_t i = from; i < bins.size(); ++i) {
            const float* const e = at(bins[i]);
            for (std::size_t l = 0; l < kLanes; ++l) sum[i * kLanes + l] += e[l];
        }
    };
    std::size_t line = 0;
    for (; line + 4 <= table.bin.size(); line += 4) {
        const auto* const bins = &table.bin[line];
        const std::size_t all = bins[3].size();  // the highest line leaves the band first
        for (std::size_t i = 0; i < all; ++i) {
            const float *e = at(bins[0][i]), *f = at(bins[1][i]), *g = at(bins[2][i]), *h = at(bins[3][i]);
            float* const to = sum.data() + i * kLanes;
            for (std::size_t l = 0; l < kLanes; ++l) to[l] += (e[l] + f[l]) + (g[l] + h[l]);
        }
        for (std::size_t j = line; j < line + 3; ++j) add_one(j, all);
    }
    for (; line < table.bin.size(); ++line) add_one(line, 0);
}

const std::vector<CombPeak>& CombSearch::at(const Signals& sound, double time_s) {
    peaks_.clear();
    mid_.analyse(sound.mid, time_s);
    if (!mid_.anything) return peaks_;
    std::fill(envelope_sum_.begin(), envelope_sum_.end(), 0.F);
    for (std::size_t e = 0; e < Signals::kEnvelopes; ++e) {
        envelope_[e].analyse(sound.envelope[e], time_s);
        add_lines(envelope_table_, envelope_[e], envelope_sum_);
    }
    const std::size_t count = candidates_hz_.size();
    constexpr std::size_t kLanes = Channel<kSlopes>::kLanes;
    for (std::size_t c = 0; c < count; ++c)
        for (std::size_t s = 0; s < kSlopes; ++s)
            sum_[c * kLanes + s] = envelope_sum_[c * Channel<kEnvelopeSlopes>::kLanes + beside_[s]] - steepness_[s];
    add_lines(mid_table_, mid_, sum_);
    if (alternation_.heard) add_lines(alternate_table_, mid_, sum_);
    for (std::size_t c = 0; c < count; ++c) {
        const auto* const of_slope = sum_.data() + c * kLanes;
        const auto* const best = std::max_element(of_slope, of_slope + kSlopes);
        best_[c] = *best;
        best_slope_[c] = static_cast<std::uint8_t>(best - of_slope);
    }
    for (std::size_t c = 1; c + 1 < count; ++c)
        if (best_[c] >= best_[c - 1] && best_[c] > best_[c + 1])
            peaks_.push_back({.log_cycle_hz = std::log(candidates_hz_[c]),
                              .slope_per_s = mid_.slopes[best_slope_[c]],
                              .evidence = static_cast<double>(best_[c])});
    const auto stronger = [](const CombPeak& a, const CombPeak& b) { return a.evidence > b.evidence; };
    if (peaks_.size() > kPeaks) {
        std::nth_element(peaks_.begin(), peaks_.begin() + kPeaks, peaks_.end(), stronger);
        peaks_.resize(kPeaks);
    }
    std::sort(peaks_.begin(), peaks_.end(), stronger);
    if (!peaks_.empty()) {
        weigh_overtones(peaks_.front());
        weigh_alternation(peaks_.front());
    }
    const double far_below = peaks_.empty() ? 0.0 : kNearlyAsClear * peaks_.front().evidence;
    for (auto& p : peaks_) {
        refine(p, p.evidence > far_below);
        judge(p);
    }
    prefer_stated_range();
    return peaks_;
}

/// Of two combs that share lines because their speeds stand in a simple ratio, the one within the stated idle is the
/// engine's if it is nearly as clear: cylinders that fire unevenly fill in the other's lines.
void CombSearch::prefer_stated_range() {
    const auto stated = [this](const CombPeak& p) {
        const double hz = std::exp(p.log_cycle_hz);
        return hz > stated_low_hz_ && hz < stated_high_hz_;
    };
    for (auto& p : peaks_) {
        if (stated(p)) continue;
        for (const auto& q : peaks_) {
            if (!stated(q) || q.evidence < kNearlyAsClear * p.evidence) continue;
            const double ratio = std::exp(p.log_cycle_hz - q.log_cycle_hz);
            const bool related = std::any_of(kSharedLines.begin(), kSharedLines.end(),
                                             [ratio](double r) { return std::abs(ratio / r - 1.0) < kGridStep; });
            if (!related) continue;
            const double left = std::min(p.evidence, q.evidence - kRivalMargin);
            if (p.evidence > 0.0) p.score *= left / p.evidence;
            p.evidence = left;
        }
    }
}

void CombSearch::refine(CombPeak& peak, bool thoroughly) const {
    auto s = slope_index(peak.slope_per_s);
    constexpr int kMostSteps = 3;
    constexpr double kStep = 0.002;
    const int steps = thoroughly ? kMostSteps : 1;
    const auto& fitted = alternation_.heard ? all_lines_ : lines_;
    std::size_t lines = 0;  // within the band all over a stretch: one that leaves it would look like a step
    const auto each_line = [&](std::size_t slope, double log_hz, auto&& act) {
        const float f = static_cast<float>(std::exp(log_hz) / mid_.bin_hz);
        for (std::size_t i = 0; i < lines; ++i) {
            const float x = f * static_cast<float>(fitted[i]);
            const auto b = static_cast<std::size_t>(x);
            const float part = x - static_cast<float>(b);
            const float here = mid_.ratio_at(slope, b);
            act(here + part * (mid_.ratio_at(slope, b + 1) - here));
        }
    };
    // Not the capped evidence, which is flat on top where lines are strong: the logarithm of power, over so much that
    // places without a line hardly count. No line counts for much more than the comb's third: a fan's tone that stands
    // near one must not pull the comb to it.
    float most = 0.F;
    const auto compare_lines = [&] {
        const double highest =
            static_cast<double>(mid_.used_bins - 2) * mid_.bin_hz * std::exp(-peak.log_cycle_hz - (steps + 1) * kStep);
        lines = static_cast<std::size_t>(std::lower_bound(fitted.begin(), fitted.end(), highest) - fitted.begin());
        std::array<float, 3> loudest{};
        each_line(s, peak.log_cycle_hz, [&](float power) {
            if (power <= loudest[2]) return;
            loudest[2] = power;
            if (loudest[2] > loudest[1]) std::swap(loudest[1], loudest[2]);
            if (loudest[1] > loudest[0]) std::swap(loudest[0], loudest[1]);
        });
        most = std::max(kOrdinaryLine, kOverThird * loudest[2]);
    };
    const auto fit = [&](std::size_t slope, double log_hz) {
        SumOfLogs sum;
        each_line(slope, log_hz,
                  [&](float power) { sum.add(static_cast<double>(1.F + kOverNoise * std::min(power, most))); });
        return sum.value();
    };
    // Strong lines leave the evidence flat over more than one such stretch: uphill, until the top lies within.
    const auto climb = [&] {
        for (int stretch = 0; stretch < (thoroughly ? kMostStretches : 1); ++stretch) {
            compare_lines();
            std::array<double, 2 * kMostSteps + 1> values{};
            for (int i = 0; i <= 2 * steps; ++i)
                values[static_cast<std::size_t>(i)] = fit(s, peak.log_cycle_hz + kStep * (i - steps));
            const auto highest = std::max_element(values.begin(), values.begin() + 2 * steps + 1) - values.begin();
            const auto top = static_cast<std::size_t>(std::clamp<std::ptrdiff_t>(highest, 1, 2 * steps - 1));
            peak.log_cycle_hz +=
                kStep * (static_cast<double>(top) - steps + summit(values[top - 1], values[top], values[top + 1]));
            if (highest > 0 && highest < 2 * steps) return;
        }
    };
    climb();
    for (int turn = 0; s > 0 && s + 1 < kSlopes; ++turn) {
        const double at = peak.log_cycle_hz;
        const std::array<double, 3> values{fit(s - 1, at), fit(s, at), fit(s + 1, at)};
        const auto next =
            s - 1 + static_cast<std::size_t>(std::max_element(values.begin(), values.end()) - values.begin());
        if (!thoroughly || turn == kMostTurns || next == s || next == 0 || next + 1 == kSlopes) {
            peak.slope_per_s =
                mid_.slopes[s] + summit(values[0], values[1], values[2]) * (mid_.slopes[1] - mid_.slopes[0]);
            return;
        }
        s = next;
        climb();
    }
}

std::size_t CombSearch::slope_index(double slope_per_s) const {
    const double x = (slope_per_s - mid_.slopes.front()) / (mid_.slopes[1] - mid_.slopes[0]);
    return static_cast<std::size_t>(std::clamp<long>(std::lround(x), 0, static_cast<long>(kSlopes) - 1));
}

void CombSearch::judge(CombPeak& peak) const {
    const double cycle_hz = std::exp(peak.log_cycle_hz);
    const auto slope = slope_index(peak.slope_per_s);
    constexpr std::array<int, 4> kFaster{2, 3, 5, 7};
    std::array<double, kFaster.size()> between{};
    std::array<int, kFaster.size()> lines_between{};
    int lines = 0;
    const auto gather = [&](const auto& c, std::size_t s) {
        each_line(c, lines_, cycle_hz, [&](int m, std::size_t b) {
            ++lines;
            for (std::size_t i = 0; i < kFaster.size(); ++i)
                if ((m / spacing_) % kFaster[i] != 0) {
                    between[i] += static_cast<double>(c.evidence_at(s, b));
                    ++lines_between[i];
                }
        });
    };
    gather(mid_, slope);
    for (const auto& e : envelope_) gather(e, e.slopes.size() / 2);
    if (alternation_.heard)
        lines += static_cast<int>(std::count_if(alternate_lines_.begin(), alternate_lines_.end(), [&](int m) {
            return cycle_hz * m > kLowestLine_hz &&
                   cycle_hz * m < static_cast<double>(mid_.used_bins - 1) * mid_.bin_hz;
        }));
    double gaps = 1e30;  // scaled up to the full number of lines
    for (std::size_t i = 0; i < kFaster.size(); ++i)
        if (lines_between[i] > 0) gaps = std::min(gaps, between[i] * lines / lines_between[i]);
    peak.evidence = std::min(peak.evidence, gaps + kGapSlack) - kHoleCost * holes(cycle_hz, slope);
    peak.evidence = std::min(peak.evidence, faster_rival(peak, slope));
    if (overtones_.dominate) peak.evidence = std::min(peak.evidence, 0.0);
    peak.score = lines > 0 ? peak.evidence / (kLineSpread * std::sqrt(static_cast<double>(lines))) : 0.0;
}

/// Lines that are missing right between strong ones: an engine's lines rise and fall together over its resonances,
/// while the notes of a chord share a comb of which they leave out every other line.
int CombSearch::holes(double cycle_hz, std::size_t slope) const {
    constexpr int kNear = 2;
    std::array<float, 2 * kNear + 1> around{};  // the last lines' power over the floor, newest last
    int count = 0, seen = 0;
    each_line(mid_, lines_, cycle_hz, [&](int, std::size_t b) {
        std::rotate(around.begin(), around.begin() + 1, around.end());
        around.back() = std::max({mid_.ratio_at(slope, b - 1), mid_.ratio_at(slope, b), mid_.ratio_at(slope, b + 1)});
        if (++seen < 2 * kNear + 1) return;
        const bool before = std::max(around[0], around[1]) > kStrongLine;
        const bool after = std::max(around[3], around[4]) > kStrongLine;
        count += before && after && around[kNear] < kMissingLine;
    });
    return count;
}

/// Mean power over the floor of the first two lines of the upper bands' modulation.
double CombSearch::beat_at_firing(double cycle_hz) const {
    double beat = 0.0;
    for (const auto& e : envelope_)
        for (const int k : {1, 2}) {
            const auto b = nearest(cycle_hz * spacing_ * k / e.bin_hz);
            if (b + 1 < e.used_bins)
                beat += 0.5 * static_cast<double>(e.ratio_at(e.slopes.size() / 2, b)) / Signals::kEnvelopes;
        }
    return beat;
}

/// A comb whose lowest line is silent, whose next ones are clearly heard, yet far below a later one that stands out of
/// its neighbours, and whose upper bands do not beat at all: the half orders of an engine that runs several times
/// faster, which fires at that later line. (A resonance lifts neighbours together.) Judged over about a second of the
/// strongest comb.
void CombSearch::weigh_overtones(const CombPeak& strongest) {
    constexpr int kFirst = 3;
    const double cycle_hz = std::exp(strongest.log_cycle_hz);
    const auto slope = slope_index(strongest.slope_per_s);
    float fundamental_ratio = 0.F, first = 0.F, first_ratio = 0.F, later = 0.F, beside_later = 0.F, last = 0.F;
    for (const int m : lines_) {
        const auto b = nearest(cycle_hz * m / mid_.bin_hz);
        if (b + 1 >= mid_.used_bins) break;
        const float ratio = mid_.ratio_at(slope, b);
        const float power = ratio / mid_.inverse_floor[b];
        if (m == lines_.front()) fundamental_ratio = ratio;
        if (m / spacing_ <= kFirst) {
            first = std::max(first, power);
            first_ratio = std::max(first_ratio, ratio);
        } else if (power > later) {
            later = power;
            beside_later = last;
        } else if (last == later) {
            beside_later = std::max(beside_later, power);
        }
        last = power;
    }
    if (fundamental_ratio <= 0.F || first <= 0.F || later <= 0.F || beside_later <= 0.F) return;
    const double share = std::max(kOvertoneMemory, 1.0 / static_cast<double>(++overtones_.frames));
    const auto follow = [share](double& mean, double value) { mean += share * (value - mean); };
    const auto log_of = [](float ratio) { return std::log(static_cast<double>(ratio)); };
    follow(overtones_.log_fundamental_heard, log_of(fundamental_ratio));
    follow(overtones_.log_first_heard, log_of(first_ratio));
    follow(overtones_.log_later_over_first, log_of(later / first));
    follow(overtones_.log_later_over_beside, log_of(later / beside_later));
    follow(overtones_.beat, beat_at_firing(cycle_hz));
    follow(overtones_.evidence, strongest.evidence);
    overtones_.dominate = overtones_.frames >= kOvertoneFrames && overtones_.evidence > kClearComb &&
                          overtones_.log_fundamental_heard < kFirstHeard && overtones_.log_first_heard > kFirstHeard &&
                          overtones_.log_later_over_first > kLaterOverFirst &&
                          overtones_.log_later_over_beside > kLaterOverBeside && overtones_.beat < kNoBeat;
}

/// Cylinders that fire in turn a little early and late put lines halfway between the firing lines, and the more so the
/// higher: where these are heard the comb is fitted to both.
void CombSearch::weigh_alternation(const CombPeak& strongest) {
    if (alternate_lines_.empty()) return;
    const double cycle_hz = std::exp(strongest.log_cycle_hz);
    const auto slope = slope_index(strongest.slope_per_s);
    const auto mean_evidence = [&](const std::vector<int>& lines) {
        double sum = 0.0;
        int count = 0;
        each_line(mid_, lines, cycle_hz, [&](int, std::size_t b) {
            sum += static_cast<double>(mid_.evidence_at(slope, b));
            ++count;
        });
        return sum / std::max(1, count);
    };
    const double share = std::max(kOvertoneMemory, 1.0 / static_cast<double>(++alternation_.frames));
    alternation_.firing += share * (mean_evidence(lines_) - alternation_.firing);
    alternation_.between += share * (mean_evidence(alternate_lines_) - alternation_.between);
    alternation_.heard = alternation_.frames >= kOvertoneFrames &&
                         alternation_.between > kAlternates * std::max(alternation_.firing, kLineSpread);
}

/// What a p times faster engine leaves this comb as evidence: its cylinders' differences fill in every line of it, but
/// its firing lines, the p-th multiples, stand out. Within the stated idle the faster one then takes the place; outside
/// it the comb is given up only if the upper bands do not beat at its firing rate either.
double CombSearch::faster_rival(const CombPeak& peak, std::size_t slope) const {
    const double cycle_hz = std::exp(peak.log_cycle_hz);
    const double beat = beat_at_firing(cycle_hz);
    double least = 1e30;
    for (const int p : {2, 3, 4}) {
        SumOfLogs on_logs, off_logs;
        double evidence_on = 0.0;
        int on = 0, off = 0;
        each_line(mid_, lines_, cycle_hz, [&](int m, std::size_t b) {
            const double over_floor = static_cast<double>(mid_.ratio_at(slope, b)) + 0.1;
            if ((m / spacing_) % p == 0) {
                on_logs.add(over_floor), ++on;
                evidence_on += static_cast<double>(mid_.evidence_at(slope, b));
            } else {
                off_logs.add(over_floor), ++off;
            }
        });
        if (on < 2 || off < 2) continue;
        const double log_on = on_logs.value(), log_off = off_logs.value();
        const bool in_range = p * cycle_hz <= stated_high_hz_;
        if (!in_range && (beat > kBeatHeard || log_off < kClearLine * off)) continue;
        const double excess = log_on / on - log_off / off;
        const double half_believed = in_range && p > 2 ? kExcessOfMany : kExcess;
        const double belief = 1.0 / (1.0 + std::exp(-(excess - half_believed) / kExcessSpread));
        least = std::min(least, peak.evidence * (1.0 - belief) + belief * (evidence_on - kRivalMargin));
    }
    return least;
}

}  // namespace idlehark
