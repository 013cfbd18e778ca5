#pragma once

#include "dsp/compare/change.hpp"

#include <string>
#include <string_view>
#include <vector>

namespace idlehark {

/// The words of the verdicts, in every table, file and picture.
[[nodiscard]] constexpr std::string_view word(ChangeVerdict v) noexcept {
    switch (v) {
        case ChangeVerdict::better:
            return "better";
        case ChangeVerdict::worse:
            return "worse";
        case ChangeVerdict::changed:
            return "changed";
        case ChangeVerdict::no_proven:
            return "no proven change";
        case ChangeVerdict::unknown:
            break;
    }
    return "not known";
}

/// One figure of two visits as it is shown. NaN where there is no number.
struct CompareRow {
    std::string figure;  ///< "idle speed", "spot 7", ...
    std::string name;    ///< the spot's, from the map; may be empty
    std::string unit;
    double before = std::nan(""), after = std::nan("");
    Change change;
};

/// All that a table, a JSON text or a picture of a comparison shows. Plain values.
struct CompareView {
    std::string engine, before, after;
    std::vector<CompareRow> rows;
    std::vector<std::string> cautions, notes;
};

/// "Better: spot 7. No proven change in the other 5 figures."
[[nodiscard]] std::string headline(const CompareView& view);
/// A figure with as many decimals as its unit bears; empty if it is not known.
[[nodiscard]] std::string figure_text(double value, std::string_view unit, bool with_sign = false);
[[nodiscard]] std::string compare_table(const CompareView& view);
/// {"summary","before","after","figures":[{"figure","name","unit","before","after","difference","low","high","p_value",
/// "verdict"}],"cautions","notes"}; what is not known is null.
[[nodiscard]] std::string compare_json(const CompareView& view);

}  // namespace idlehark
