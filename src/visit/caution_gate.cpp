#include "src/visit/caution_gate.hpp"

#include <algorithm>

namespace idlehark {

const std::array<CautionPoint, kCautionPoints>& caution_points() noexcept {
    static constexpr std::array<CautionPoint, kCautionPoints> kPoints{{
        {"extinguisher", "Is an extinguisher rated for burning liquids within reach, and the way out free?",
         "Fetch one first. Without it, use a way without flammable spray."},
        {"no_fuel", "Is there no smell of fuel and no leak of fuel anywhere?",
         "Stop the engine. Have the fuel leak mended before anything else."},
        {"ignition_sound", "Are ignition leads and plug caps sound, and checked for arcing?",
         "Do not spray: a spark would light it. Have the ignition mended first."},
        {"fresh_air", "Are you outdoors, or is the exhaust gas led away and the place well aired?",
         "Move outdoors. Exhaust gas kills without a smell."},
        {"held", "Is the parking brake on, the gear in neutral or park, and are the wheels blocked?",
         "Secure the vehicle first."},
        {"clear_of_belts", "Are sleeves, hair, leads and cables clear of fan and belts, which may start by themselves?",
         "Tie back, roll up, move the cables away."},
        {"hot_parts", "Do you know where the hot parts are, and that no spray goes near them?",
         "Find the exhaust manifold and its neighbours first; leave out spots close to them."},
        {"eyes", "Are you wearing eye protection?", "Put it on: spray blows back."},
        {"label", "Have you read the label of the can: what it may be used for, and what it warns of?",
         "Read it first. What the label forbids is not done here."},
        {"bystanders", "Are children, animals and bystanders away, and does a second person know what you do?",
         "Send them away, and tell somebody."},
    }};
    return kPoints;
}

std::string_view caution_precedence() noexcept {
    return "Local rules, the label of the can and a licensed technician come first. Spray on a running engine is a "
           "fire risk; if you are unsure, let a workshop do it.";
}

const std::array<std::string_view, kAlternatives>& spray_alternatives() noexcept {
    static constexpr std::array<std::string_view, kAlternatives> kWays{
        "A hiss survey with probe or hose: no spray at all.",
        "A smoke test in a workshop.",
        "Soapy water under slight pressure, engine off.",
        "Water mist, never on ignition parts; Idlehark hears its answer as well.",
    };
    return kWays;
}

bool CautionGate::open() const noexcept {
    return std::all_of(answers_.begin(), answers_.end(), [](const auto& a) { return a == true; });
}

std::optional<std::size_t> CautionGate::pending() const noexcept {
    for (const bool refused : {true, false})
        for (std::size_t i = 0; i < answers_.size(); ++i)
            if (refused ? answers_[i] == false : !answers_[i]) return i;
    return {};
}

}  // namespace idlehark
