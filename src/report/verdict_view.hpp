#pragma once

#include "dsp/evidence/spray_test.hpp"

#include <cmath>
#include <string>
#include <string_view>
#include <vector>

namespace idlehark {

/// The words of the verdicts, in every table, file and picture.
[[nodiscard]] constexpr std::string_view word(SprayVerdict v) noexcept {
    switch (v) {
        case SprayVerdict::leak:
            return "leak";
        case SprayVerdict::overspray:
            return "overspray";
        case SprayVerdict::none_seen:
            return "none seen";
        case SprayVerdict::undecided:
            break;
    }
    return "undecided";
}

/// One row of the verdict. NaN where there is no number.
struct SpotRow {
    std::string spot;
    std::string name;  ///< from the map; empty without one
    int bursts = 0;
    double change_rpm = std::nan("");
    double low_rpm = std::nan("");
    double high_rpm = std::nan("");
    double p_value = std::nan("");
    double delay_s = std::nan("");
    SprayVerdict verdict = SprayVerdict::undecided;
    /// Nothing was sprayed there, so nothing was looked for.
    [[nodiscard]] bool not_sprayed() const noexcept { return bursts == 0 && verdict == SprayVerdict::undecided; }
};

/// What a table or a picture says of a spot.
[[nodiscard]] std::string_view word(const SpotRow& spot) noexcept;

/// All that a table, a JSON text or a picture of a spray test shows. Plain values.
struct VerdictView {
    std::string recording;
    std::string engine;
    bool guided = false;  ///< decided burst by burst, allowing for every look
    double length_s = std::nan("");
    double idle_rpm = std::nan("");
    double hunting_rpm = std::nan("");
    double smallest_provable_rpm = std::nan("");
    double matters_rpm = std::nan("");
    std::vector<SpotRow> spots;
    std::vector<std::string> cautions;
    std::vector<std::string> notes;

    struct SpeedPoint {
        double time_s;
        double rpm;  ///< NaN where there is no lock
    };
    struct BurstMark {
        double time_s;
        std::string spot;
    };
    std::vector<SpeedPoint> speed;  ///< for the picture
    std::vector<BurstMark> bursts;
};

/// Leaks first, then overspray, undecided, none seen, not sprayed; the larger change first within each.
[[nodiscard]] std::vector<SpotRow> ranked(std::vector<SpotRow> spots);

/// "2 leaks: 3 (plenum gasket, rear), 9", or that none is proven, and how many were not looked at; names on request.
[[nodiscard]] std::string headline(const VerdictView& view, bool names);

/// Rounded, with its sign: "+12", "−3", "0".
[[nodiscard]] std::string signed_rpm(double rpm);

}  // namespace idlehark
