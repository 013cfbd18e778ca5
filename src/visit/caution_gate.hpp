#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <string_view>

namespace idlehark {

/// One point asked before any spray, each visit anew.
struct CautionPoint {
    std::string_view key;       ///< stored with the case
    std::string_view question;  ///< "yes" is the safe answer
    std::string_view if_no;     ///< what to do then
};

inline constexpr std::size_t kCautionPoints = 10;
[[nodiscard]] const std::array<CautionPoint, kCautionPoints>& caution_points() noexcept;

/// Shown above the points: who comes first, and the ways without flammable spray, which come before it.
[[nodiscard]] std::string_view caution_precedence() noexcept;
inline constexpr std::size_t kAlternatives = 4;
[[nodiscard]] const std::array<std::string_view, kAlternatives>& spray_alternatives() noexcept;

/// The answers of one visit. The gate is open while every point stands at yes, and a point may be taken back at any
/// time.
class CautionGate {
   public:
    /// Throws std::out_of_range for a point that does not exist.
    void answer(std::size_t point, bool yes) { answers_.at(point) = yes; }
    [[nodiscard]] std::optional<bool> answered(std::size_t point) const { return answers_.at(point); }
    [[nodiscard]] bool open() const noexcept;
    /// The first point answered no, else the first not answered; nothing when the gate is open.
    [[nodiscard]] std::optional<std::size_t> pending() const noexcept;

   private:
    std::array<std::optional<bool>, kCautionPoints> answers_{};
};

}  // namespace idlehark
