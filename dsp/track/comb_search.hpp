#pragma once

#include "dsp/engine.hpp"
#include "dsp/real_fft.hpp"
#include "dsp/track/block_quantiles.hpp"
#include "dsp/track/front_end.hpp"

#include <array>
#include <complex>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace idlehark {

/// One place where the comb of firing lines fits a half-second of sound.
struct CombPeak {
    double log_cycle_hz = 0.0;  ///< natural logarithm of the cycle frequency at the frame's centre
    double slope_per_s = 0.0;   ///< relative change of speed
    double evidence = 0.0;      ///< log likelihood ratio against sound with no such comb, less what speaks for another
    double score = 0.0;         ///< evidence in standard deviations of what noise gives that many lines
};

/// Finds mains hum: lines at multiples of 50 or 60 Hz that keep their phase, which no engine line does for long.
class MainsHum {
   public:
    explicit MainsHum(double highest_hz);
    /// One frame's transform, not warped; `first_sample_s` its first sample's time.
    void hear(std::span<const std::complex<float>> bins, double bin_hz, double first_sample_s);
    /// Takes the word from the bins that hum occupies; `lanes` values a bin.
    void mute(double bin_hz, std::span<float> ratio, std::size_t lanes) const;
    /// Share of a spectrum's power that hum holds.
    [[nodiscard]] double share(double bin_hz, std::span<const float> power) const;

   private:
    static constexpr std::size_t kLag = 5;          ///< frames; half a second, where windows no longer overlap much
    static constexpr double kMemory = 0.05;         ///< per frame: two seconds
    static constexpr double kCoherent = 0.6;        ///< agreement over power; noise alone gives about 0.2
    static constexpr double kPhaseTolerance = 0.7;  ///< radians a lag: 0.2 Hz, the mains' own tolerance
    static constexpr double kTurnTolerance = 0.4;   ///< radians a frame: an engine's line 2 Hz off turns whole in a lag
    static constexpr int kLinesOfHum = 3;
    static constexpr double kWidth_hz = 3.0;   ///< half the window's main lobe and a little
    static constexpr float kUndecided = 1.0F;  ///< power over floor that speaks neither for nor against a line
    struct Line {
        explicit Line(double line_hz) : hz(line_hz) {}
        double hz;
        std::array<std::complex<double>, kLag> past{};
        std::complex<double> agreement, turn;  ///< with a lag before, with the frame before
        double power = 0.0;
        bool steady = false;
    };
    struct Family {
        std::vector<Line> lines;
        bool present = false;
    };
    template <class Do>
    void each_bin(double bin_hz, std::size_t bins, Do&& act) const;
    std::vector<Family> families_;
    std::size_t at_ = 0;
};

/// Fits combs over speed and slope to windows of the front end's signals.
/// A window is warped in time so that a given relative slope becomes steady, which straightens every line at once, and
/// transformed. Each bin's power over the local floor gives a log likelihood ratio "line or no line" that is capped, so
/// that a few strong tones cannot outvote a comb; a candidate is the sum over the lines it expects.
/// Source   fan-chirp analysis: Kepesi & Weruaga, Adaptive chirp-based time-frequency analysis of speech signals,
///          Speech Communication 48 (2006) 474 (from memory); the rest is our own derivation.
class CombSearch {
   public:
    CombSearch(const Signals& rates, const Engine& engine);

    static constexpr std::size_t kPeaks = 16;
    /// Best combs for the window centred on `time_s`, strongest first.
    [[nodiscard]] const std::vector<CombPeak>& at(const Signals& sound, double time_s);

    [[nodiscard]] double window_s() const noexcept { return window_s_; }
    [[nodiscard]] double low_cycle_hz() const noexcept { return low_cycle_hz_; }
    [[nodiscard]] double high_cycle_hz() const noexcept { return high_cycle_hz_; }

    /// How often the firing pattern repeats within a cycle: the number of cylinders when they fire evenly.
    [[nodiscard]] int pattern_repeats() const noexcept { return spacing_; }

   private:
    // A surge of 60 rpm at 0.5 Hz about 700 rpm reaches a slope of 0.27 per second. With nine slopes nothing is heard
    // that seven do not.
    static constexpr std::size_t kSlopes = 7;
    static constexpr std::size_t kEnvelopeSlopes = 3;
    /// One signal's warped transforms and the evidence per bin.
    template <std::size_t kSlopeCount>
    struct Channel {
        /// Values of all slopes lie side by side for each bin, as many as fill whole vectors.
        static constexpr std::size_t kLanes = (kSlopeCount + 3) / 4 * 4;
        Channel(double rate_hz, double window_s, double highest_hz, double steepest_per_s, double quietest);
        void analyse(const Timeline& signal, double time_s);
        [[nodiscard]] float ratio_at(std::size_t slope, std::size_t bin) const { return ratio[bin * kLanes + slope]; }
        [[nodiscard]] float evidence_at(std::size_t slope, std::size_t bin) const {
            return evidence[bin * kLanes + slope];
        }
        double rate_hz;
        std::size_t length;
        std::size_t used_bins;
        RealFft fft;
        BlockQuantiles floor;
        double bin_hz;
        double least_variance;
        double window_energy = 0.0;
        float least_floor = 0.F;
        std::array<double, kSlopeCount> slopes{};
        /// Each sample of the warped window from two neighbours of the sound, weighed by `a` and `b`; samples of one
        /// run lie equally far from where they come from.
        struct Warp {
            struct Run {
                std::size_t begin, end;
                std::ptrdiff_t shift;
            };
            std::vector<Run> runs;
            std::vector<float> a, b;
        };
        std::vector<Warp> warps;
        std::vector<float> window_sound, frame;
        std::vector<std::complex<float>> bins;
        std::vector<float> power, log_floor, inverse_floor, one_over;
        std::optional<MainsHum> hum;  ///< looked for in the lines, not in the envelopes
        bool floor_known = false;
        bool anything = false;                        ///< the last window held sound that is worth a search
        std::vector<float> ratio, evidence, running;  ///< [bin][lane]
        void update_floor();
        void weigh();
    };
    /// Where each candidate's n-th line falls in a channel's bins.
    struct LineTable {
        std::vector<std::vector<std::uint16_t>> bin;  ///< [line][candidate], shortened where lines leave the band
    };
    template <std::size_t n>
    [[nodiscard]] LineTable table_for(const Channel<n>& c, std::span<const int> lines) const;
    template <std::size_t n>
    static void add_lines(const LineTable& table, const Channel<n>& c, std::span<float> sum);
    /// To the top of the comb's likelihood nearby; not `thoroughly`: only if it is very near.
    void refine(CombPeak& peak, bool thoroughly) const;
    void judge(CombPeak& peak) const;
    void prefer_stated_range();
    [[nodiscard]] double beat_at_firing(double cycle_hz) const;
    void weigh_overtones(const CombPeak& strongest);
    void weigh_alternation(const CombPeak& strongest);
    [[nodiscard]] int holes(double cycle_hz, std::size_t slope) const;
    [[nodiscard]] double faster_rival(const CombPeak& peak, std::size_t slope) const;
    [[nodiscard]] std::size_t slope_index(double slope_per_s) const;

    double low_cycle_hz_, high_cycle_hz_, stated_low_hz_ = 0.0, stated_high_hz_ = 0.0;
    std::vector<int> lines_;
    int spacing_;
    double window_s_;
    struct Overtones {  ///< running means
        double log_fundamental_heard = 0.0, log_first_heard = 0.0, log_later_over_first = 0.0,
               log_later_over_beside = 0.0, beat = 0.0, evidence = 0.0;
        std::uint64_t frames = 0;
        bool dominate = false;
    } overtones_;
    std::vector<int> alternate_lines_;  ///< halfway between the firing lines, where cylinders are even in number
    std::vector<int> all_lines_;        ///< both
    /// Every other firing early or late (bank against bank): running means of a line's evidence.
    struct Alternation {
        double firing = 0.0, between = 0.0;
        std::uint64_t frames = 0;
        bool heard = false;
    } alternation_;
    std::vector<double> candidates_hz_;
    Channel<kSlopes> mid_;
    std::array<Channel<kEnvelopeSlopes>, Signals::kEnvelopes> envelope_;
    LineTable mid_table_, alternate_table_, envelope_table_;
    std::array<std::size_t, kSlopes> beside_{};  ///< the envelopes' slope nearest to each
    std::array<float, kSlopes> steepness_{};     ///< what a slope costs in evidence
    std::vector<float> sum_, envelope_sum_;      ///< [candidate][lane]
    std::vector<float> best_;
    std::vector<std::uint8_t> best_slope_;
    std::vector<CombPeak> peaks_;
};

}  // namespace idlehark
