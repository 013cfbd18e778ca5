#pragma once

#include <complex>

namespace idlehark::sim {

/// A turning, perhaps shrinking, arrow: z *= turn without the not-a-number branch of complex multiplication, which
/// costs more than the multiplication in loops over samples.
struct Phasor {
    double re = 0.0, im = 0.0;

    Phasor() = default;
    explicit Phasor(std::complex<double> z) noexcept : re(z.real()), im(z.imag()) {}
    void turn(const Phasor& by) noexcept {
        const double r = re * by.re - im * by.im;
        im = re * by.im + im * by.re;
        re = r;
    }
};

}  // namespace idlehark::sim
