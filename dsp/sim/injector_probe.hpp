#pragma once

#include "dsp/engine.hpp"
#include "dsp/sim/source.hpp"
#include "dsp/sim/speed_path.hpp"

#include <cstdint>
#include <limits>
#include <optional>
#include <vector>

namespace idlehark::sim {

/// How one injector does its work.
struct InjectorHealth {
    double level = 1.0;                  ///< amplitude of its clicks against a sound one; 0: silent
    double miss_probability = 0.0;       ///< per opening: neither click is heard
    double jitter_us = 80.0;             ///< standard deviation of the opening about its crank angle
    double open_close_ms = 2.8;          ///< from the start of the opening click to the start of the closing click
    double open_close_scatter_us = 0.0;  ///< standard deviation of that, from click to click
};

/// A set of injectors, and what a probe on the body of one of them records.
/// Every click is a sum of decaying modes that starts at its exact time. Modes (2.5-13 kHz, below 0.42 of the rate),
/// decays (0.3-1.5 ms) and whether opening or closing is louder are drawn per set; each injector differs a little.
/// Neighbours arrive weaker, up to 0.4 ms later and with another colour. The model is invented; nothing is measured.
struct InjectorProbeSpec {
    Engine engine;  ///< scheme and firing order decide who clicks when
    double sample_rate_hz = 48000.0;
    std::uint64_t seed = 1;  ///< draws the set: equal for its recordings
    /// Another visit to the same set: other contact of the probe, other random numbers.
    std::optional<std::uint64_t> visit_seed;
    int cylinder = 1;                    ///< the probe is on this one
    std::vector<InjectorHealth> health;  ///< by cylinder; empty: all sound
    bool group_each_turn = false;        ///< grouped: each group opens once per crank turn instead of once per cycle
    double neighbour_level = 0.25;       ///< median amplitude of the others against the own
    double neighbour_spread_db = 1.0;    ///< standard deviation from neighbour to neighbour
    double amplitude_scatter = 0.1;      ///< from click to click
    double recording_spread_db = 1.0;    ///< contact and gain, standard deviation from recording to recording
    double snr_db = 6.0;                 ///< clicks (see kLoud_s) of a sound injector against all that is no click
    double rumble_share = 0.3;           ///< of the engine in the power that is no click, within the band
    bool firing_heard = true;            ///< false: noise only, no engine
    static constexpr double kLoud_s = 2e-3;        ///< a click's level is its RMS over this long from its start
    static constexpr Band kBand{2000.0, 15000.0};  ///< in which the signal-to-noise ratio is stated; cut at 0.45 rate
};

struct InjectorProbe {
    std::vector<float> samples;
    std::vector<double> opened_s;  ///< own openings that were heard
    int due = 0;                   ///< own openings that should have been, within the recording
    int missed = 0;
};

/// Renders as long as the path lasts. Errors: std::invalid_argument (engine, cylinder, health for other cylinders).
[[nodiscard]] InjectorProbe record_injector(const InjectorProbeSpec& spec, const SpeedPath& path);

}  // namespace idlehark::sim
