#pragma once

#include "dsp/bursts/levels.hpp"

#include <array>
#include <vector>

namespace idlehark {

/// How far a stretch of sound stands out in the upper bands from both sides of it, in units of the spread which that
/// same comparison shows at sham places all along the last half minute (median absolute deviation, so that true bursts
/// among the shams hardly count).
///
/// Contrast of a band: mean over the box - max(mean just before, mean just after), of log levels; the larger side makes
/// a lasting change no box at all. What the low bands share of it (median of their contrasts, where positive) is taken
/// off: a step of gain or of engine speed raises the whole sound, hiss only the top.
/// For a hiss spectrum not known and band noise of spread s_b the log likelihood ratio grows with the sum of
/// contrast / s_b; the terms are bounded so that one band alone cannot decide.
class Contrast {
   public:
    using Rise = std::array<double, BandSlot::kUpper>;  ///< dB, per upper band
    static constexpr Slot kGap = slots(0.04);           ///< edges of a burst are soft: left out of the sides

    Contrast(Slot side, std::size_t upper_bands) : side_(side), upper_bands_(upper_bands), next_(kGap + side) {}

    /// To be called after every slot added to `levels`.
    void listen(const Levels& levels);
    [[nodiscard]] bool ready() const noexcept { return count_ >= kFewestShams; }
    /// The box is long enough for the shams to speak for it, both sides of it lie within the sound heard, and none of
    /// it is digital silence.
    [[nodiscard]] bool applies(const Levels& levels, Box box) const noexcept;

    [[nodiscard]] Rise rise_db(const Levels& levels, Box box) const noexcept;
    [[nodiscard]] double score(const Rise& rise) const noexcept { return term_sum(rise) / sum_spread_; }
    /// Weight of each band for telling hiss of this rise from the sound around it; not normalised.
    [[nodiscard]] Rise weights(const Rise& rise) const noexcept;
    [[nodiscard]] Slot side() const noexcept { return side_; }

   private:
    static constexpr std::size_t kFewestShams = 8;

    [[nodiscard]] Slot sham_length() const noexcept;
    [[nodiscard]] double contrast_db(const Levels& levels, std::size_t band, Box box) const noexcept;
    [[nodiscard]] double term_sum(const Rise& rise) const noexcept;
    void learn();

    Slot side_;
    std::size_t upper_bands_;
    Slot next_;  ///< onset of the next sham
    std::vector<Rise> shams_;
    std::size_t count_ = 0;
    Rise spread_db_{};
    double sum_spread_ = 1.0;
    std::vector<double> scratch_;
};

}  // namespace idlehark
