#pragma once

#include <span>
#include <vector>

namespace idlehark {

/// Cosine-sum windows, periodic form (the one for spectra): w[i] = sum_k (-1)^k c[k] cos(2 pi k i / n).
/// Source: F. J. Harris, On the use of windows for harmonic analysis, Proc. IEEE 66 (1978) 51.
[[nodiscard]] std::vector<float> hann_window(std::size_t n);
[[nodiscard]] std::vector<float> blackman_harris_window(std::size_t n);

/// 1 within, a raised cosine over `fade` values at each end, over half of `n` at most.
[[nodiscard]] std::vector<float> faded_window(std::size_t n, std::size_t fade);

/// Mean of the window: the gain of a line at a bin's centre.
[[nodiscard]] double coherent_gain(std::span<const float> window) noexcept;
/// Equivalent noise bandwidth in bins: n * sum(w^2) / sum(w)^2.
[[nodiscard]] double noise_bandwidth_bins(std::span<const float> window) noexcept;
/// Loss in dB of a line half-way between two bins.
[[nodiscard]] double scallop_loss_db(std::span<const float> window) noexcept;

}  // namespace idlehark
