#pragma once

#include "dsp/injectors/click_bands.hpp"
#include "dsp/injectors/click_path.hpp"
#include "dsp/injectors/crank_clock.hpp"

#include <optional>
#include <span>
#include <vector>

namespace idlehark {

/// Something that clicks once a cycle, followed through a recording in the bands where it stands out.
struct ClickLine {
    CrankClock clock;
    ClickPath path;
    std::vector<double> excess{};   ///< mean power along the path by band, in floors, less the noise's
    std::vector<double> weights{};  ///< of the bands, 0..1, learned from that
};

/// Learns the bands in which the clicks along a path stand out, and follows them again in these, twice.
/// Input    clock and path of `line`; `own_clock`: the clock came from these clicks, and is sharpened with them; what
///          chance gives is the mean of `chances` turned foldings.
/// Output   nothing where the clicks get lost.
[[nodiscard]] std::optional<ClickLine> learn_line(const ClickBands& bands, ClickLine line, bool own_clock, int chances,
                                                  const ClickCorridor& corridor = {});

/// What else clicks once a cycle, at other places of it than `line`: the loudest places first, each followed within a
/// corridor beside the line, first by `plain`, the strength before any band is weighed. Those that come less steadily
/// than the line by far, or no steadier than chance, are left out.
[[nodiscard]] std::vector<ClickLine> rival_lines(const ClickBands& bands, std::span<const float> plain,
                                                 const ClickLine& line);

}  // namespace idlehark
