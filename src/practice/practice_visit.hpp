#pragma once

#include "dsp/sim/live_bay.hpp"
#include "src/live/live_analysis.hpp"
#include "src/visit/guided_visit.hpp"

#include <cstdint>
#include <functional>
#include <optional>
#include <random>
#include <span>
#include <string>
#include <vector>

namespace idlehark {

/// A guided visit to a simulated bay: its sound goes the way of a microphone's, through LiveAnalysis into a
/// GuidedVisit; who sprays is the user, or simulated hands that do as they are told. The cautions are the owner's to
/// ask, as in a real visit: nothing is prompted before they are answered.
class PracticeVisit {
   public:
    PracticeVisit(const sim::SessionSpec& spec, const VisitPlanSettings& settings, bool plan_in_background);

    /// Plays the next stretch of sound. `tap` sees the samples, to record or play them.
    void run(double seconds, const std::function<void(AudioView)>& tap = {});
    /// The user presses the can now: a burst on one spot, or a pass over several. Unknown spots are left out.
    void spray(const std::vector<std::string>& spots);
    /// From now on simulated hands follow every prompt, 1 to 2.5 s after it.
    void follow_prompts(std::uint64_t seed);

    [[nodiscard]] GuidedVisit& guided() noexcept { return guided_; }
    [[nodiscard]] const GuidedVisit& guided() const noexcept { return guided_; }
    [[nodiscard]] const sim::LiveBay& bay() const noexcept { return bay_; }
    [[nodiscard]] double now_s() const noexcept { return static_cast<double>(frames_) / rate_hz_; }
    [[nodiscard]] std::span<const LiveReading> recent() const noexcept { return recent_; }  ///< of the last `run`

    static constexpr double kBurst_s = 1.0;
    static constexpr double kPass_s = 2.0;
    static constexpr double kLongest_s = 3600.0;

   private:
    void use_hands();

    sim::LiveBay bay_;
    double rate_hz_;
    GuidedVisit guided_;
    LiveAnalysis analysis_;
    std::vector<LiveReading> recent_;
    std::uint64_t frames_ = 0;
    std::optional<std::mt19937_64> hands_;
    unsigned followed_ = 0;  ///< the prompt that hands know of
    std::optional<double> spray_at_s_;
};

}  // namespace idlehark
