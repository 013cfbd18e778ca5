#pragma once

#include "dsp/bursts/band_slots.hpp"
#include "dsp/nearest_whole.hpp"

#include <array>
#include <cstdint>
#include <vector>

namespace idlehark {

using Slot = std::int64_t;  ///< index of a 20 ms slot, from the start of the recording

constexpr Slot slots(double s) { return nearest_whole(s / BandSlots::kSlot_s); }

/// A stretch of slots [on, off).
struct Box {
    Slot on;
    Slot off;
};

/// Running sums over the slots of the last 20 s, so that the mean of any stretch costs one subtraction. Stretches asked
/// for must lie within [end() - kSpan, end()] and not be empty.
class Levels {
   public:
    static constexpr Slot kSpan = slots(20.0);

    void add(const BandSlot& s) {
        Entry next = at(end_);
        for (std::size_t b = 0; b < BandSlot::kBands; ++b) next.level[b] += static_cast<double>(s.level_db[b]);
        for (std::size_t b = 0; b < BandSlot::kUpper; ++b) {
            next.own[b] += static_cast<double>(s.own[b]);
            next.neighbour[b] += static_cast<double>(s.neighbour[b]);
        }
        next.power += static_cast<double>(s.upper_power);
        next.silent += s.silent;
        at(++end_) = next;
    }
    [[nodiscard]] Slot end() const noexcept { return end_; }
    [[nodiscard]] double level_db(std::size_t band, Slot from, Slot to) const noexcept {
        return (at(to).level[band] - at(from).level[band]) / static_cast<double>(to - from);
    }
    /// Near 2 for noise, more for tones; 2 where there is nothing to judge by.
    [[nodiscard]] double peakiness(std::size_t upper_band, Slot from, Slot to) const noexcept {
        const double neighbour = at(to).neighbour[upper_band] - at(from).neighbour[upper_band];
        return neighbour > 0.0 ? (at(to).own[upper_band] - at(from).own[upper_band]) / neighbour : 2.0;
    }
    [[nodiscard]] double upper_power(Slot from, Slot to) const noexcept {
        return (at(to).power - at(from).power) / static_cast<double>(to - from);
    }
    [[nodiscard]] bool any_silent(Slot from, Slot to) const noexcept { return at(to).silent != at(from).silent; }

   private:
    struct Entry {
        std::array<double, BandSlot::kBands> level{};
        std::array<double, BandSlot::kUpper> own{};
        std::array<double, BandSlot::kUpper> neighbour{};
        double power = 0.0;
        std::int64_t silent = 0;
    };
    [[nodiscard]] Entry& at(Slot k) noexcept { return ring_[static_cast<std::size_t>(k % (kSpan + 1))]; }
    [[nodiscard]] const Entry& at(Slot k) const noexcept { return ring_[static_cast<std::size_t>(k % (kSpan + 1))]; }

    std::vector<Entry> ring_ = std::vector<Entry>(kSpan + 1);
    Slot end_ = 0;
};

}  // namespace idlehark
