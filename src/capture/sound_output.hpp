#pragma once

#include <vector>

namespace idlehark {

/// What plays one sound at a time and silence otherwise. Threads: one owner.
class SoundOutput {
   public:
    SoundOutput() = default;
    virtual ~SoundOutput() = default;
    SoundOutput(const SoundOutput&) = delete;
    SoundOutput& operator=(const SoundOutput&) = delete;

    [[nodiscard]] virtual double sample_rate_hz() const noexcept = 0;
    [[nodiscard]] virtual bool playing() const noexcept = 0;
    /// Mono at `sample_rate_hz()`. False, and nothing done, while another sound is playing.
    virtual bool play(std::vector<float> mono) = 0;
    /// Falls silent at once; a sound that was playing is let go of a moment later.
    virtual void hush() noexcept = 0;

   protected:
    SoundOutput(SoundOutput&&) = default;
    SoundOutput& operator=(SoundOutput&&) = delete;
};

}  // namespace idlehark
