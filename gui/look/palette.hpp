#pragma once

#include "gui/look/colour.hpp"

/// The window's colours: dark on light, because a bright screen outdoors loses to the sun on anything else.
/// Contrast and distinguishability are tested (tests/gui/look_test.cpp): text 7 : 1, and every finding told from every
/// other under each Sight.
namespace idlehark::gui::palette {

inline constexpr Rgb kPaper{0xf6, 0xf3, 0xec};     ///< behind everything
inline constexpr Rgb kPanel{0xff, 0xff, 0xff};     ///< behind plots, forms and labels
inline constexpr Rgb kInk{0x13, 0x1d, 0x27};       ///< text, lines that matter
inline constexpr Rgb kFaintInk{0x47, 0x50, 0x59};  ///< text that matters less
inline constexpr Rgb kRule{0xb9, 0xb5, 0xaa};      ///< grid lines, borders
inline constexpr Rgb kShade{0xe7, 0xe2, 0xd6};     ///< bands, quiet fills

inline constexpr Rgb kAction{0x00, 0x48, 0xb5};  ///< what to do now: the next spot, the chosen button
inline constexpr Rgb kOnAction{0xff, 0xff, 0xff};
inline constexpr Rgb kStop{0xb0, 0x06, 0x1c};
inline constexpr Rgb kOnStop{0xff, 0xff, 0xff};

// Findings: fill and what is written on it.
inline constexpr Rgb kFault{0xcc, 0x14, 0x2e};
inline constexpr Rgb kOnFault{0xff, 0xff, 0xff};
inline constexpr Rgb kShadowed{0xf2, 0xa9, 0x00};
inline constexpr Rgb kOnShadowed{0x13, 0x1d, 0x27};
inline constexpr Rgb kClear{0xe6, 0xf5, 0xec};
inline constexpr Rgb kOnClear{0x0c, 0x3d, 0x2a};
inline constexpr Rgb kOpen{0x22, 0x2f, 0x3b};
inline constexpr Rgb kOnOpen{0xff, 0xff, 0xff};

// The engine seen from above.
inline constexpr Rgb kMetal{0xdc, 0xdb, 0xd6};
inline constexpr Rgb kDarkMetal{0xc6, 0xc6, 0xc2};
inline constexpr Rgb kRubber{0x8a, 0x8e, 0x91};
inline constexpr Rgb kEdge{0x7d, 0x81, 0x85};

inline constexpr Rgb kTrace{0x10, 0x3f, 0x5c};  ///< measured lines
inline constexpr Rgb kTraceBand{0xb4, 0xcb, 0xd8};
inline constexpr Rgb kLost{0xe9, 0xc9, 0xb4};  ///< where nothing was heard

}  // namespace idlehark::gui::palette
