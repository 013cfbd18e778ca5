#include "gui/look/colour.hpp"

#include <algorithm>
#include <cmath>

namespace idlehark::gui {

namespace {

using Triple = std::array<double, 3>;
using Matrix = std::array<Triple, 3>;

constexpr Matrix kProtanopia{{{0.152286, 1.052583, -0.204868},
                              {0.114503, 0.786281, 0.099216},  //
                              {-0.003882, -0.048116, 1.051998}}};
constexpr Matrix kDeuteranopia{{{0.367322, 0.860646, -0.227968},
                                {0.280085, 0.672501, 0.047413},  //
                                {-0.011820, 0.042940, 0.968881}}};
constexpr Matrix kTritanopia{{{1.255528, -0.076749, -0.178779},
                              {-0.078411, 0.930809, 0.147602},  //
                              {0.004733, 0.691367, 0.303900}}};

double linear(std::uint8_t v) noexcept {
    const double s = v / 255.0;
    return s <= 0.04045 ? s / 12.92 : std::pow((s + 0.055) / 1.055, 2.4);
}

std::uint8_t coded(double v) noexcept {
    v = std::clamp(v, 0.0, 1.0);
    const double s = v <= 0.0031308 ? 12.92 * v : 1.055 * std::pow(v, 1.0 / 2.4) - 0.055;
    return static_cast<std::uint8_t>(std::lround(255.0 * s));
}

Triple linear(Rgb c) noexcept { return {linear(c.r), linear(c.g), linear(c.b)}; }

double dot(const Triple& a, const Triple& b) noexcept { return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]; }

Rgb applied(const Matrix& m, Rgb c) noexcept {
    const auto v = linear(c);
    return {coded(dot(m[0], v)), coded(dot(m[1], v)), coded(dot(m[2], v))};
}

/// IEC 61966-2-1 primaries to XYZ, D65 white, then CIE 15.
Triple lab(Rgb c) noexcept {
    const auto v = linear(c);
    const auto f = [](double t) { return t > 216.0 / 24389.0 ? std::cbrt(t) : (24389.0 / 27.0 * t + 16.0) / 116.0; };
    const double x = f(dot({0.4124564, 0.3575761, 0.1804375}, v) / 0.95047);
    const double y = f(dot({0.2126729, 0.7151522, 0.0721750}, v));
    const double z = f(dot({0.0193339, 0.1191920, 0.9503041}, v) / 1.08883);
    return {116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)};
}

}  // namespace

double relative_luminance(Rgb c) noexcept { return dot({0.2126, 0.7152, 0.0722}, linear(c)); }

double contrast_ratio(Rgb a, Rgb b) noexcept {
    const auto [low, high] = std::minmax({relative_luminance(a), relative_luminance(b)});
    return (high + 0.05) / (low + 0.05);
}

Rgb seen(Rgb c, Sight sight) noexcept {
    switch (sight) {
        case Sight::full:
            break;
        case Sight::protanopia:
            return applied(kProtanopia, c);
        case Sight::deuteranopia:
            return applied(kDeuteranopia, c);
        case Sight::tritanopia:
            return applied(kTritanopia, c);
        case Sight::grey:
            const auto y = coded(relative_luminance(c));
            return {y, y, y};
    }
    return c;
}

double difference(Rgb a, Rgb b) noexcept {
    const auto p = lab(a);
    const auto q = lab(b);
    return std::hypot(p[0] - q[0], p[1] - q[1], p[2] - q[2]);
}

}  // namespace idlehark::gui
