#include "dsp/real_fft.hpp"

#include <stdexcept>
#include <string>

#include <kissfft/kiss_fftr.h>

namespace idlehark {

namespace {
struct Free {
    void operator()(kiss_fftr_state* p) const noexcept { kiss_fftr_free(p); }
};
using Config = std::unique_ptr<kiss_fftr_state, Free>;

bool is_smooth(std::size_t n) noexcept {
    for (const std::size_t p : {2U, 3U, 5U})
        while (n % p == 0) n /= p;
    return n == 1;
}
}  // namespace

struct RealFft::Plan {
    Config forward, inverse;
};

RealFft::RealFft(std::size_t n) : n_(n) {
    if (n < 2 || n > (std::size_t{1} << 22) || n % 2 != 0 || !is_smooth(n))
        throw std::invalid_argument("RealFft: size " + std::to_string(n) +
                                    " is not an even product of 2, 3 and 5 within 2..4194304");
    const int size = static_cast<int>(n);
    plan_ = std::make_unique<Plan>(
        Plan{Config{kiss_fftr_alloc(size, 0, nullptr, nullptr)}, Config{kiss_fftr_alloc(size, 1, nullptr, nullptr)}});
    if (!plan_->forward || !plan_->inverse) throw std::bad_alloc();
}

RealFft::~RealFft() = default;
RealFft::RealFft(RealFft&&) noexcept = default;
RealFft& RealFft::operator=(RealFft&&) noexcept = default;

void RealFft::forward(std::span<const float> x, std::span<std::complex<float>> bins) noexcept {
    // kiss_fft_cpx is {float r, i}, the layout that std::complex<float> guarantees.
    kiss_fftr(plan_->forward.get(), x.data(), reinterpret_cast<kiss_fft_cpx*>(bins.data()));
}

void RealFft::inverse(std::span<const std::complex<float>> bins, std::span<float> x) noexcept {
    kiss_fftri(plan_->inverse.get(), reinterpret_cast<const kiss_fft_cpx*>(bins.data()), x.data());
}

std::size_t RealFft::good_size(std::size_t wanted) noexcept {
    std::size_t n = wanted < 2 ? 2 : wanted + wanted % 2;
    while (!is_smooth(n)) n += 2;
    return n;
}

}  // namespace idlehark
