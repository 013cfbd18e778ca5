#pragma once

#include "dsp/balance/band_split.hpp"
#include "dsp/balance/crank_path.hpp"

#include <vector>

#include <Eigen/Dense>

namespace idlehark {

/// Every firing's strength in the waveform, ringing of its neighbours taken into account.
struct FiringFit {
    Eigen::MatrixXd strength;  ///< cycles x cylinders; 1 is the cylinder's middle ordinary firing
    Eigen::MatrixXd missing;   ///< what the fit would have said had that firing left a tenth of itself
};

/// A firing rings on into the next ones, so all are fitted at once: the sound is a sum of pulses, one shape per
/// cylinder, each with a strength and a shift of its own.
/// Input    the path's first `cycles`. Firings that begin after its end keep the value 1.
/// Method   shapes by conjugate gradients on the joint least squares, strengths and shifts by descent from firing to
///          firing, in turns, with what the strengths leave unsure; first with one shape and one strength for all, in a
///          sound whitened by what that leaves over. What a cylinder's shape has of its own counts as far as it stands
///          out of what noise alone makes of it.
/// Accuracy tests/bench/balance_bench.cpp.
[[nodiscard]] FiringFit fit_firings(const BandSplit& sound, const CrankPath& path, const std::vector<double>& places,
                                    double onset, std::size_t cycles);

}  // namespace idlehark
