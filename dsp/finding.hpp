#pragma once

#include "dsp/balance/balance.hpp"
#include "dsp/compare/change.hpp"
#include "dsp/evidence/spray_test.hpp"
#include "dsp/hiss/hiss_survey.hpp"
#include "dsp/injectors/injector_set.hpp"

namespace idlehark {

/// What a verdict comes to, whatever was tested: window and report choose shape and colour by it, and by nothing else.
/// The word always stands beside it.
enum class Finding {
    fault,     ///< proven: filled diamond
    shadowed,  ///< something answered, but it need not be this one: triangle, half filled
    clear,     ///< nothing of a size that matters: open circle
    open,      ///< not known: open square
};

[[nodiscard]] constexpr Finding finding(SprayVerdict v) noexcept {
    switch (v) {
        case SprayVerdict::leak:
            return Finding::fault;
        case SprayVerdict::overspray:
            return Finding::shadowed;
        case SprayVerdict::none_seen:
            return Finding::clear;
        case SprayVerdict::undecided:
            break;
    }
    return Finding::open;
}

[[nodiscard]] constexpr Finding finding(InjectorVerdict v) noexcept {
    switch (v) {
        case InjectorVerdict::regular:
            return Finding::clear;
        case InjectorVerdict::differs:
            return Finding::shadowed;
        case InjectorVerdict::missing_clicks:
        case InjectorVerdict::silent:
            break;
    }
    return Finding::fault;
}

[[nodiscard]] constexpr Finding finding(HissVerdict v) noexcept {
    switch (v) {
        case HissVerdict::stands_out:
            return Finding::fault;
        case HissVerdict::loud_steady:
        case HissVerdict::loud_open:
            return Finding::shadowed;
        case HissVerdict::ordinary:
            return Finding::clear;
        case HissVerdict::undecided:
            break;
    }
    return Finding::open;
}

[[nodiscard]] constexpr Finding finding(CylinderVerdict v) noexcept {
    switch (v) {
        case CylinderVerdict::weak:
        case CylinderVerdict::misfires:
            return Finding::fault;
        case CylinderVerdict::sounds_different:
            return Finding::shadowed;
        case CylinderVerdict::even:
            return Finding::clear;
        case CylinderVerdict::undecided:
            break;
    }
    return Finding::open;
}

[[nodiscard]] constexpr Finding finding(ChangeVerdict v) noexcept {
    switch (v) {
        case ChangeVerdict::worse:
            return Finding::fault;
        case ChangeVerdict::changed:
            return Finding::shadowed;
        case ChangeVerdict::better:
            return Finding::clear;
        case ChangeVerdict::no_proven:
        case ChangeVerdict::unknown:
            break;
    }
    return Finding::open;
}

}  // namespace idlehark
