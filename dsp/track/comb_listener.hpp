#pragma once

#include "dsp/engine.hpp"
#include "dsp/track/comb_search.hpp"
#include "dsp/track/front_end.hpp"

#include <array>
#include <cstdint>
#include <vector>

namespace idlehark {

/// What was heard at one of the tracker's frames.
struct CombFrame {
    static constexpr double kSpacing_s = 0.1;  ///< frame i is centred on i * kSpacing_s
    std::vector<CombPeak> peaks;
    std::array<std::vector<float>, 1 + Signals::kEnvelopes> sound;  ///< the signals since the frame before
};

/// The tracker's first half: sound in, frames out, each once its window has been heard.
class CombListener {
   public:
    /// Throws std::invalid_argument on an engine that fires too fast to be followed.
    CombListener(double sample_rate_hz, const Engine& engine);

    void process(AudioView x, std::vector<CombFrame>& frames);
    /// End of the recording: the frames that still waited for sound.
    void finish(std::vector<CombFrame>& frames);

    [[nodiscard]] const FrontEnd& sound() const noexcept { return sound_; }
    [[nodiscard]] const CombSearch& search() const noexcept { return search_; }
    [[nodiscard]] double end_of_sound_s() const noexcept;

   private:
    /// The frame by the window that is centred on `centre_s`.
    [[nodiscard]] CombFrame frame(double centre_s);

    double sample_rate_hz_;
    FrontEnd sound_;
    CombSearch search_;
    std::int64_t frames_ = 0;
    std::array<std::int64_t, 1 + Signals::kEnvelopes> handed_on_{};  ///< samples of the signals
};

}  // namespace idlehark
