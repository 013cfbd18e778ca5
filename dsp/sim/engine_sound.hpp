#pragma once

#include "dsp/engine.hpp"
#include "dsp/sim/source.hpp"
#include "dsp/sim/speed_path.hpp"

#include <cstdint>
#include <limits>
#include <memory>
#include <optional>
#include <vector>

namespace idlehark::sim {

inline constexpr double kOff_db = -std::numeric_limits<double>::infinity();

/// Which engine, and what is heard of it. `_db` levels are RMS relative to the combustion sound over the whole band.
struct EngineSoundSpec {
    Engine engine;
    double sample_rate_hz = 48000.0;
    std::uint64_t seed = 1;  ///< draws the resonances (which engine) and every random number
    /// Another visit to the same engine: the microphone stands elsewhere (other reflections), other random numbers.
    std::optional<std::uint64_t> visit_seed;
    double level_rms = 0.1;  ///< of the whole sound, within about 2 dB

    std::vector<double> cylinder_strengths;   ///< in firing order; empty: all 1. 0: a dead cylinder
    std::vector<double> misfire_probability;  ///< in firing order, per cycle; empty: none
    double misfire_strength = 0.1;            ///< what a misfire leaves: the cylinder still pumps
    double strength_scatter = 0.15;           ///< standard deviation from cycle to cycle
    double timing_scatter_deg = 1.5;          ///< standard deviation of where combustion is heard, crank degrees
    double cylinder_colour = 0.2;  ///< how differently the cylinders sound (spread of mode levels, 1 = 8.7 dB)

    double reflections = 0.75;  ///< of bay and walls, over 30 ms: standard deviation of the first ones; 0: open air

    double low_db = 3.0;           ///< exhaust modes, 45-180 Hz, against the body modes of each pulse
    double valve_db = -20.0;       ///< valve train ticks, 2.5-9 kHz
    double injector_db = -28.0;    ///< two ticks a pulse width apart, 3.5-13 kHz
    double flow_db = -1.0;         ///< broadband noise, 250 Hz up, falling above 0.9-2.6 kHz, modulated at firing rate
    double alternator_db = -30.0;  ///< whine that follows the crank at a non-integer ratio
    double belt_db = -26.0;        ///< low belt orders, non-integer ratio
};

/// Only combustion pulses, all alike and on time: a spectrum of lines that can be computed by hand.
[[nodiscard]] EngineSoundSpec lines_only(EngineSoundSpec spec);

/// An engine heard close by: every firing of the speed path adds a decaying response of body and exhaust modes at its
/// exact time (a fraction of a sample), scattered as combustion is; ticks, flow noise and whines follow the same crank.
/// When the engine stalls, everything dies with the speed.
/// The model is invented for simulation. Its levels are set beside open recordings of three idling engines: octave
/// levels, height of the lines over the floor (30 dB at order 2, 10 dB at order 20), depth of the firing-rate
/// modulation (0.1-0.3 above 1 kHz) and kurtosis (3-5) are of that order; no figure is taken from a source.
/// Accuracy pulse times: 1/8 sample with linear interpolation between (error below -50 dB at an eighth of the rate).
/// Errors   constructor: std::invalid_argument (engine, rate, list lengths, a path made for other strokes).
class EngineSound final : public Source {
   public:
    EngineSound(const EngineSoundSpec& spec, SpeedPath path);
    ~EngineSound() override;

    /// A combustion as it was drawn, for tests: what really happened.
    struct Firing {
        double time_s;
        int index;  ///< in firing order
        double strength;
        bool misfire;
    };
    /// Firings that began within the last block made inside (kBlockFrames long).
    [[nodiscard]] const std::vector<Firing>& last_firings() const noexcept;
    /// Transfer function of one combustion pulse (strength 1) of a cylinder at a frequency, amplitude per pulse in
    /// sample sums: a line's amplitude is 2 * cycle_frequency / rate * |response| * |DFT of strengths|.
    [[nodiscard]] double pulse_response(int index, double f_hz) const;

   private:
    void make_block(std::span<float> out) override;
    void rewind() override;

    struct Parts;
    struct State;
    std::unique_ptr<const Parts> parts_;
    std::unique_ptr<State> state_;
};

}  // namespace idlehark::sim
