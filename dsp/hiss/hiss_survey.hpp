#pragma once

#include "dsp/balance/band_split.hpp"
#include "dsp/engine.hpp"
#include "dsp/idle_tracker.hpp"

#include <array>
#include <limits>
#include <span>
#include <vector>

namespace idlehark {

/// What one probe recording holds in the leak bands (2.5..5, 5..9, 9..13.4 kHz, as many as its rate carries).
struct SpotHiss {
    static constexpr std::size_t kTenths = 10;
    static constexpr std::size_t kPlaces = 12;  ///< of the stretch from one firing to the next
    struct Band {
        std::array<double, kPlaces> whole{};                         ///< mean power at each place
        std::array<std::array<double, kPlaces>, kTenths> without{};  ///< with a tenth of the time left out
        std::vector<double> cycle;                                   ///< mean power over the working cycle, ticks and
                                                                     ///< all, so many places a firing; empty if unknown
    };
    std::vector<Band> bands;
    bool follows_known = false;    ///< the engine's cycle was followed, so that places mean something
    double rpm = 0.0;              ///< NaN if not followed
    std::vector<double> lines_db;  ///< the engine's own lines at the multiples of the firing order, up to 1.2 kHz; NaN
                                   ///< where one does not stand out
    double seconds = 0.0;
};

/// Listens to one recording. Ticks are left out: of the stretches from firing to firing within a cycle the lower
/// quartile counts at each place, so that an injector or a valve close to the probe, which ticks in some of them, does
/// not. Input, errors as BandSplit.
class HissEar {
   public:
    HissEar(const Engine& engine, double sample_rate_hz);
    void process(AudioView x) { split_.process(x); }
    [[nodiscard]] SpotHiss finish(std::span<const RpmReading> readings);

   private:
    Engine engine_;
    BandSplit split_;
};

enum class HissVerdict {
    stands_out,   ///< louder than a sound spot would be, and so is what follows the firing
    loud_steady,  ///< louder, and the surplus is shown to be steady: a fan, a belt, or a leak whose flow is choked
    loud_open,    ///< louder; whether the surplus follows the firing is open
    ordinary,     ///< a surplus of 3 dB is excluded
    undecided,
};

struct SpotSurvey {
    static constexpr double kNotKnown = std::numeric_limits<double>::quiet_NaN();
    double level_db = kNotKnown;  ///< over the survey's floor, the middle of the sound spots, gain taken out
    double level_low_db = kNotKnown, level_high_db = kNotKnown;  ///< 95 %
    double follow_db = kNotKnown;  ///< what swells with the firing, over the same of the sound spots
    double follow_low_db = kNotKnown, follow_high_db = kNotKnown;
    double depth = kNotKnown;     ///< share of this spot's own hiss that swells with the firing
    double gain_db = kNotKnown;   ///< taken out of this recording
    double least_db = kNotKnown;  ///< level from which on a hiss that swells by half would have stood out here
    double p_level = 1.0;         ///< that a sound spot is as loud; times the number of spots
    double p_follow = 1.0;
    HissVerdict verdict = HissVerdict::undecided;
};

enum class GainFrom { lines, declared };

/// Compares the recordings of a survey.
/// gain_db  one per spot, taken out of it: declared gains, or empty to take the engine's lines as the common measure:
/// the
///          middle of how far they are off the survey's, so that a fan's tones on some of them do no harm.
/// Test     a spot's level against what the others say a sound spot would show there (SoundSpots: its own scatter, how
///          far sound spots are apart, foreseen as 2.5 dB and 3.5 dB of what follows, and what the measure of gain
///          leaves open, 2 dB for lines, 0.5 dB declared); one sided, times the number of spots; likewise for the part
///          that follows the firing. Loud: under 0.05 and 3 dB up. A loud spot stands out if what follows is under 0.05
///          too and swells the surplus by more than 0.15, at its least. It is steady if the surplus swells by less than
///          that at the most, with the firing (95 % of the recording's own scatter, as much as a sound spot swells
///          hidden by it) and with the cycle; else that is open. Needs four spots; with fewer all are undecided.
/// Interval of a level: the surplus over a sound spot at the same place, so sound spots' differences are in it.
/// Reach    tests/bench/hiss_bench.cpp.
/// Errors   std::invalid_argument if `gain_db` has another length than `spots`.
[[nodiscard]] std::vector<SpotSurvey> survey_hiss(std::span<const SpotHiss> spots, std::span<const double> gain_db);

}  // namespace idlehark
