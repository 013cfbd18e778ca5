#pragma once

#include "dsp/injectors/injector_set.hpp"

#include <string>
#include <string_view>
#include <vector>

namespace idlehark {

/// The words of the verdicts, in every table, file and picture.
[[nodiscard]] constexpr std::string_view word(InjectorVerdict v) noexcept {
    switch (v) {
        case InjectorVerdict::regular:
            return "regular";
        case InjectorVerdict::missing_clicks:
            return "missing clicks";
        case InjectorVerdict::differs:
            return "differs";
        case InjectorVerdict::silent:
            break;
    }
    return "silent";
}

/// One injector as it is shown.
struct InjectorRow {
    InjectorReading reading;
    std::string recording;
    ProbeRecording probe;  ///< folds for the picture
};

/// All that a table, a JSON text or a picture of an injector test shows. Plain values.
struct InjectorView {
    std::string engine;
    std::string scheme;  ///< as the engine file states it
    double cycle_deg = 720.0;
    double rpm = std::nan("");
    std::vector<InjectorRow> injectors;
    std::vector<std::string> cautions;
    std::vector<std::string> notes;
};

/// "all 4 regular", or which are not and how.
[[nodiscard]] std::string headline(const InjectorView& view);
/// Why the verdict is not "regular", in words; empty if it is.
[[nodiscard]] std::string reasons(const InjectorReading& reading);

[[nodiscard]] std::string injector_table(const InjectorView& view);
/// Injectors in the order given; null where there is no number.
[[nodiscard]] std::string injector_json(const InjectorView& view);

}  // namespace idlehark
