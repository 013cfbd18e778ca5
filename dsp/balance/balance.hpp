#pragma once

#include "dsp/balance/band_split.hpp"
#include "dsp/engine.hpp"
#include "dsp/idle_tracker.hpp"

#include <span>
#include <vector>

namespace idlehark {

/// What is said of one cylinder.
enum class CylinderVerdict {
    even,              ///< a loss of a third of its strength, and misfires above a few percent, are excluded
    weak,              ///< clearly below the others in every band that can tell
    misfires,          ///< some of its firings are missing
    sounds_different,  ///< another sound, louder here and softer there: no loss of strength is proven
    undecided,
};

struct CylinderBalance {
    double angle_deg = 0.0;     ///< of its sound against the first one's, crank degrees
    double strength = 0.0;      ///< amplitude against the middle cylinder
    double strength_low = 0.0;  ///< 95 % interval; holds that cylinders sound different as well as noise
    double strength_high = 0.0;
    double band_spread = 0.0;      ///< how far its bands disagree, as a ratio's natural logarithm
    double p_weak = 1.0;           ///< corrected for the number of cylinders
    double misfire_percent = 0.0;  ///< NaN where single firings are not heard, a weak one looks like a miss, or so
                                   ///< many miss that the ordinary ones are not known
    double misfire_low = 0.0, misfire_high = 0.0;  ///< 95 %
    double p_misfire = 1.0;                        ///< corrected for the number of cylinders
    CylinderVerdict verdict = CylinderVerdict::undecided;
};

struct Balance {
    double rpm = 0.0;
    double used_s = 0.0;
    int cycles = 0;
    int left_out_cycles = 0;                 ///< knocks, speech, drop-outs
    std::vector<CylinderBalance> cylinders;  ///< in firing order; the first is arbitrary unless a reference names it
    /// Share of the power of the mean cycle's lines that lies between multiples of the firing order, 60..700 Hz, less
    /// what noise alone would put there; 0..1. NaN for one cylinder and for uneven firing, where it means nothing.
    double half_order_share = 0.0;
    double single_firing_sd = 0.0;         ///< scatter of one firing's presence (1: there, 0: missing)
    double fit_share = 0.0;                ///< of the bands' swell over the cycle that a common pulse shape explains
    double rpm_low = 0.0, rpm_high = 0.0;  ///< between which nine tenths of its cycles ran
    bool steady = true;                    ///< false: these lie too far apart for firings to be alike
    bool heard = false;           ///< false: too little sound, or no firing stands out, or not steady; figures are NaN
    bool half_softer = false;     ///< half of the cylinders stand apart below the others, as a row of a vee further off
    bool rotation_known = false;  ///< a reference said which firing is the first of the firing order (SparkFiring)
    double spark_to_sound_deg = 0.0;  ///< from the reference's spark to the next firing heard; NaN without one
    /// Heard at the tail pipe the reference's cylinder may be so many firings after the one taken for it.
    std::vector<std::size_t> tail_pipe_later;
};

/// How evenly the cylinders work, from sound and tracked speed.
/// The sound is cut at crank angles (CycleBins); in each band the mean power over the cycle is taken apart into a
/// floor and one swell per firing, all of one shape (a quick rise, an exponential end). A cylinder's strength is the
/// square root of its swell against the middle one's, over all bands: a cylinder that is weak is weak in every band,
/// one that sounds different is not. Where half of the cylinders stand apart below the others, which a whole row does
/// that is further from the microphone, only what is weak among its own half is called so. Misfires are counted by how
/// near each firing's bands and waveform together are to those of a missing one.
/// Reach    tests/bench/balance_bench.cpp: which loss and which share of misfires are found in how much sound.
/// Errors   constructor: std::invalid_argument.
class BalanceEar {
   public:
    BalanceEar(const Engine& engine, double sample_rate_hz);
    void process(AudioView x) { split_.process(x); }
    /// At the end, once. `reference_s`: times of the pulse of the lead of the cylinder that is first in the firing
    /// order; empty: none. Order of the result: from that cylinder; else from the first firing heard.
    [[nodiscard]] Balance judge(std::span<const RpmReading> readings, std::span<const double> reference_s = {});

   private:
    Engine engine_;
    BandSplit split_;
};

/// |DFT_N(p)[m]| / N, m = 0..N-1, of the cylinders' strengths in firing order: the relative amplitude at order m/2 of
/// an evenly firing four-stroke whose cylinders sound alike (the half-order identity; follows from the transform of a
/// periodic train of equal pulses with weights p).
[[nodiscard]] std::vector<double> half_order_amplitudes(std::span<const double> strengths);

}  // namespace idlehark
