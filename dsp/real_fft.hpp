#pragma once

#include <complex>
#include <cstddef>
#include <memory>
#include <span>

namespace idlehark {

/// Forward and inverse transform of real samples (KissFFT behind it).
/// Input    n real values; n even, 2..2^22, a product of 2, 3 and 5 (others would allocate inside the library).
/// Output   n/2+1 complex bins, bin b at b*rate/n; unscaled, so inverse(forward(x)) = n*x.
/// Errors   constructor: std::invalid_argument on a size it does not take. forward(), inverse(): none.
/// Threads  one owner; forward() and inverse() neither allocate nor lock.
class RealFft {
   public:
    explicit RealFft(std::size_t n);
    ~RealFft();
    RealFft(RealFft&&) noexcept;
    RealFft& operator=(RealFft&&) noexcept;

    void forward(std::span<const float> x, std::span<std::complex<float>> bins) noexcept;
    void inverse(std::span<const std::complex<float>> bins, std::span<float> x) noexcept;
    [[nodiscard]] std::size_t size() const noexcept { return n_; }
    [[nodiscard]] std::size_t bins() const noexcept { return n_ / 2 + 1; }
    /// The smallest size at or above `wanted` that the constructor takes.
    [[nodiscard]] static std::size_t good_size(std::size_t wanted) noexcept;

   private:
    struct Plan;
    std::size_t n_;
    std::unique_ptr<Plan> plan_;
};

}  // namespace idlehark
