#pragma once

#include "dsp/engine.hpp"
#include "dsp/idle_tracker.hpp"
#include "dsp/units.hpp"

#include <cmath>
#include <span>
#include <vector>

namespace idlehark {

/// What one recording with the probe on one injector holds, before it is compared with the others of its set.
struct ProbeRecording {
    double length_s = 0.0;
    double rpm = std::nan("");       ///< mean speed; NaN when neither firing nor clicks tell
    bool firing_heard = false;       ///< the speed is from the rumble; else from the clicks
    bool repeats = false;            ///< something clicks at the same crank angle cycle after cycle
    bool each_turn = false;          ///< at 360 degrees from the strongest clicks as strong ones repeat (four-stroke)
    int due = 0;                     ///< clicks expected at the rate found, within the recording
    int missed = 0;                  ///< of these, not heard
    int clearly_missed = 0;          ///< of these, with next to nothing there, far below what heard ones scatter
    double faintest_heard = 0.0;     ///< energy of the faintest heard click, 1 for the typical one,
    double loudest_missed = 0.0;     ///< and of the strongest that counts as missed
    double missed_by_scatter = 0.0;  ///< so many were to be expected down there from how the heard ones scatter
    double common_share = 0.0;       ///< of the energy about the clicks, in a waveform that all share
    double level_db = std::nan("");  ///< energy of a heard pair of clicks in the click band, sample scale
    double power_level_db = std::nan("");   ///< by their mean power alone; -infinity where none stands out of the noise
    std::vector<double> spectrum;           ///< level_db per 1 kHz from kSpectrumFrom_hz on; NaN where it is not known
    std::vector<double> quiet;              ///< power of what sounds between the clicks, on the same grid
    double clarity_db = std::nan("");       ///< level_db over the noise in that band
    double jitter_us = std::nan("");        ///< standard deviation about the crank angle; NaN where single clicks drown
    double jitter_least_us = std::nan("");  ///< the least that the crank's own wander leaves likely
    double open_close_ms = std::nan("");    ///< by the clearest pair
    /// What may be the time from opening to closing, that of the clearest pair first.
    struct Spacing {
        double ms = 0.0;
        double rise = 1.0;  ///< of the second click, against the clearest's
    };
    std::vector<Spacing> spacings;
    double band_low_hz = std::nan("");  ///< where the clicks stand out
    double band_high_hz = std::nan("");

    /// What clicks at another place in the cycle, as those of other injectors do.
    struct Place {
        int cylinder = 0;
        double after_cycles = 0.0;  ///< after the strongest click
        double level_db = 0.0;      ///< against the strongest click; -infinity: nothing above the noise
        bool heard = false;         ///< above what chance gives
    };
    std::vector<Place> others;         ///< at the places that the stated firing order has, were injection sequential
    double hearing_db = std::nan("");  ///< the faintest other that would count as heard, against the strongest click

    /// For a picture: mean click power over the noise's, one cycle from a quarter before the strongest click on.
    std::vector<double> fold;
    std::vector<double> pair;  ///< the same about the own click, on pair_step_ms from pair_from_ms
    double pair_from_ms = 0.0;
    double pair_step_ms = 0.0;
    double open_at_ms = std::nan("");  ///< on the same scale
    double close_at_ms = std::nan("");
};

/// What a recording has at a place in the cycle, from its fold; nothing where nothing repeats.
[[nodiscard]] ProbeRecording::Place place_heard(const ProbeRecording& recording, double after_cycles);

/// Share of a common waveform in what one part sounds, and the most that its clicks scatter; the engine's own ticks
/// have 400 us and more.
inline constexpr double kOnePart = 0.7;
inline constexpr double kSteady_us = 350.0;
/// Its clicks ring alike and come on time, as those of one part do and the engine's own ticks do not.
[[nodiscard]] bool one_part(const ProbeRecording& recording);

inline constexpr double kSpectrumFrom_hz = 2000.0;
inline constexpr double kSpectrumStep_hz = 1000.0;
inline constexpr std::size_t kSpectrumSize = 16;

/// Finds the clicks of one recording.
/// Input    the whole recording, 8..192 kHz, and the tracker's readings of it, kRumbleHop_s apart; the cylinder probed.
/// Output   see above. The band, the weights and what chance gives are learned from the recording itself. Where the
///          strongest that repeats does not ring like one part, what clicks at other places of the cycle is looked at:
///          the engine's own ticks are often louder than a faint injector.
/// Accuracy tests/bench/injectors_bench.cpp.
/// Errors   std::invalid_argument for an engine that cannot exist or a cylinder it has not.
[[nodiscard]] ProbeRecording examine_probe(AudioView x, double sample_rate_hz, std::span<const RpmReading> readings,
                                           const Engine& engine, int cylinder);

}  // namespace idlehark
