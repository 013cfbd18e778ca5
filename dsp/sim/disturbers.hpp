#pragma once

#include "dsp/sim/source.hpp"

#include <cstdint>
#include <memory>
#include <vector>

namespace idlehark::sim {

/// Sounds that are not the engine. Each make_source() gives a streaming, seeded sound of RMS 1 or so; scale it with
/// Mix::add_at_snr() (ratio measured, not assumed) or Mix::add(). All are invented to be like the thing, not recorded.

enum class NoiseColour { white, pink };  ///< flat; power falling as 1/f from 20 Hz up
struct NoiseSpec {
    NoiseColour colour = NoiseColour::pink;
};

/// An electric fan: blade tone with harmonics at a speed of its own, which wobbles slowly, and broadband rush.
struct FanSpec {
    double shaft_hz = 37.0;  ///< 2200 rpm
    int blades = 7;          ///< tone at 259 Hz
    int harmonics = 4;
    double wobble_share = 0.004;  ///< standard deviation of the speed, changing over seconds
    double rush_db = -6.0;        ///< broadband noise against the tones; -infinity: none
};

struct HumSpec {
    double mains_hz = 50.0;
    int harmonics = 8;
};

/// Voiced syllables (glottal pulses through three moving formants, moving pitch), sibilants, pauses.
struct SpeechSpec {
    double pitch_hz = 130.0;  ///< middle of the voice; 90-250
    double syllables_per_s = 4.0;
};

/// Chords of harmonic notes that change with the beat over a bass.
struct MusicSpec {
    double beats_per_min = 104.0;
    double tuning_hz = 440.0;
};

/// A spray can: hiss between about 3 and 12 kHz (up to 0.45 of the rate), a click of the nozzle at the start, quick
/// onset, slight flutter.
struct SprayCanSpec {
    struct Spray {
        double time_s = 0.0;
        double duration_s = 1.0;
        double level = 1.0;
    };
    std::vector<Spray> sprays;   ///< ascending, not overlapping
    double onset_s = 0.04;       ///< 20-60 ms
    double flutter_share = 0.1;  ///< standard deviation of the level, changing over 50 ms
    double click = 3.0;          ///< peak of the nozzle's click against the RMS of the hiss
};
inline constexpr Band kHissBand{3000.0, 12000.0};

/// Dropped tools: a hard knock with ringing modes at each time.
struct KnockSpec {
    std::vector<double> times_s;  ///< ascending
};

[[nodiscard]] std::unique_ptr<Source> make_source(const NoiseSpec&, double sample_rate_hz, std::uint64_t seed);
[[nodiscard]] std::unique_ptr<Source> make_source(const FanSpec&, double sample_rate_hz, std::uint64_t seed);
[[nodiscard]] std::unique_ptr<Source> make_source(const HumSpec&, double sample_rate_hz, std::uint64_t seed);
[[nodiscard]] std::unique_ptr<Source> make_source(const SpeechSpec&, double sample_rate_hz, std::uint64_t seed);
[[nodiscard]] std::unique_ptr<Source> make_source(const MusicSpec&, double sample_rate_hz, std::uint64_t seed);
[[nodiscard]] std::unique_ptr<Source> make_source(const SprayCanSpec&, double sample_rate_hz, std::uint64_t seed);
[[nodiscard]] std::unique_ptr<Source> make_source(const KnockSpec&, double sample_rate_hz, std::uint64_t seed);

/// The gain at which a can's hiss (level 1) stands `level_db` above what the mix holds within the hiss band; restarts
/// the mix.
[[nodiscard]] double spray_can_gain(Mix& mix, const SprayCanSpec& spec, double level_db, std::uint64_t seed,
                                    double calibration_s = Mix::kCalibration_s);
/// Adds the sprays so that the hiss itself (level 1, while it lasts) stands `level_db` above what the mix already holds
/// within the hiss band (cut at 0.45 of the rate): the engine's own upper band if nothing else was added yet.
void add_spray_can(Mix& mix, const SprayCanSpec& spec, double level_db, std::uint64_t seed,
                   double calibration_s = Mix::kCalibration_s);

}  // namespace idlehark::sim
