#pragma once

#include "dsp/engine.hpp"
#include "dsp/idle_tracker.hpp"

#include <span>
#include <vector>

namespace idlehark {

/// Where in its cycle the engine stood, from the tracked speed: the integral of the longest stretch that was followed
/// without a break. Breaks up to 0.5 s are bridged by a straight line; longer ones lose count of the cycles.
/// Input    readings in time order, evenly spaced.
/// Output   phase in cycles, 0 where the stretch starts. Empty (length 0) if nothing was followed.
/// Accuracy the phase drifts by the integral of the speed's error; `CycleBins` takes the drift out again.
class CrankPath {
   public:
    CrankPath(const Engine& engine, std::span<const RpmReading> readings);

    [[nodiscard]] double start_s() const noexcept { return time_s_.empty() ? 0.0 : time_s_.front(); }
    [[nodiscard]] double end_s() const noexcept { return time_s_.empty() ? 0.0 : time_s_.back(); }
    [[nodiscard]] double cycles() const noexcept { return phase_.empty() ? 0.0 : phase_.back(); }
    [[nodiscard]] double mean_cycle_hz() const noexcept { return cycles() / (end_s() - start_s()); }
    [[nodiscard]] double phase_at(double time_s) const noexcept;  ///< within the stretch; its ends beyond
    [[nodiscard]] double time_at(double phase) const noexcept;
    /// `time_at` for phases that ascend: goes on from where it was.
    class InTurn {
       public:
        explicit InTurn(const CrankPath& path) : path_(path) {}
        [[nodiscard]] double time_at(double phase) noexcept;

       private:
        const CrankPath& path_;
        std::size_t next_ = 1;
        double from_ = 0.0, until_ = 0.0;  ///< phases of the straight piece it is on
        double start_s_ = 0.0, s_per_cycle_ = 0.0;
    };
    /// Adds `cycles[i]` to the phase at `at_s[i]`, straight between, constant outside. Ascending times; the phase must
    /// stay ascending, which corrections of a few hundredths of a cycle over a second do.
    void correct(std::span<const double> at_s, std::span<const double> cycles);

   private:
    std::vector<double> time_s_, phase_;
};

}  // namespace idlehark
