#pragma once

#include <array>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace idlehark {

/// What sort of joint a spot is. A new kind: one enumerator here, its word at the same place in kSpotKindWords.
enum class SpotKind { hose, gasket, injector_seal, throttle, brake_servo, valve, breather, sensor, other };

inline constexpr std::array<std::string_view, 9> kSpotKindWords{
    "hose",    // any rubber or plastic air or vacuum hose and its ends
    "gasket",  // flat joint: intake to head, plenum halves, throttle flange
    "injector seal",
    "throttle",     // throttle shaft and body
    "brake servo",  // vacuum servo, its hose and one-way valve
    "valve",        // idle air, canister purge, recirculation
    "breather",     // crankcase ventilation
    "sensor",       // seat of a pressure or temperature sensor
    "other",
};

[[nodiscard]] constexpr std::string_view word(SpotKind kind) noexcept {
    return kSpotKindWords[static_cast<std::size_t>(kind)];
}

struct MapSpot {
    std::string spot;  ///< the number or text the user gave it; unique on the map
    std::string name;
    SpotKind kind = SpotKind::other;
    double x_mm = 0.0;  ///< to the right
    double y_mm = 0.0;  ///< down
    std::optional<int> cylinder;

    friend bool operator==(const MapSpot&, const MapSpot&) = default;
};

/// The numbered spots of an engine bay: what the map file holds (src/files/map_file.hpp). Plain value.
struct BayMap {
    std::string name;
    std::string picture;              ///< file name; empty if none
    double picture_width_mm = 800.0;  ///< what the picture spans from left to right; its top left corner is 0, 0
    std::vector<MapSpot> spots;

    [[nodiscard]] const MapSpot* find(std::string_view spot) const noexcept;
    friend bool operator==(const BayMap&, const BayMap&) = default;
};

}  // namespace idlehark
