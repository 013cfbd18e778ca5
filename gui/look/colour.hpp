#pragma once

#include <array>
#include <cstdint>

namespace idlehark::gui {

/// sRGB, 8 bits each.
struct Rgb {
    std::uint8_t r = 0;
    std::uint8_t g = 0;
    std::uint8_t b = 0;
    friend bool operator==(Rgb, Rgb) = default;
};

/// Relative luminance 0..1. Source: W3C, Web Content Accessibility Guidelines 2.1, definition "relative luminance".
[[nodiscard]] double relative_luminance(Rgb c) noexcept;

/// 1 (equal) to 21 (black on white); 4.5 is asked for text, 3 for large text and for shapes that carry meaning, 7 for
/// text at the stricter level. Source: the same, "contrast ratio", success criteria 1.4.3, 1.4.6, 1.4.11.
[[nodiscard]] double contrast_ratio(Rgb a, Rgb b) noexcept;

/// How a screen is seen.
enum class Sight { full, protanopia, deuteranopia, tritanopia, grey };
inline constexpr std::array<Sight, 5> kSights{Sight::full, Sight::protanopia, Sight::deuteranopia, Sight::tritanopia,
                                              Sight::grey};

/// The colour as it looks to such eyes, or on a grey print.
/// Source   G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, A Physiologically-based Model for Simulation of Color
///          Vision Deficiency, IEEE TVCG 15(6), 2009, matrices of severity 1.0, applied to linear RGB. Typed from
///          memory; each row sums to 1 (tested), so greys stay grey. Grey: the relative luminance.
[[nodiscard]] Rgb seen(Rgb c, Sight sight) noexcept;

/// Distance in CIE 1976 L*a*b* (D65); about 2.3 is just noticeable (Mahy, Van Eycken, Oosterlinck 1994).
[[nodiscard]] double difference(Rgb a, Rgb b) noexcept;

}  // namespace idlehark::gui
