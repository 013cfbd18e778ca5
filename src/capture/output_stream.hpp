#pragma once

#include "src/capture/audio_system.hpp"
#include "src/capture/sound_output.hpp"
#include "src/result.hpp"

#include <memory>
#include <vector>

namespace idlehark {

/// A running output that plays one sound at a time and silence otherwise.
/// Errors   open(): what the device refused. Threads: one owner; an AudioSystem must live longer than this. The
///          callback copies what it was handed: it neither allocates, locks nor waits.
class OutputStream final : public SoundOutput {
   public:
    static Result<OutputStream> open(const AudioDevice& device);
    ~OutputStream() override;
    OutputStream(OutputStream&&) noexcept;
    OutputStream& operator=(OutputStream&&) = delete;

    [[nodiscard]] double sample_rate_hz() const noexcept override;
    [[nodiscard]] bool playing() const noexcept override;
    bool play(std::vector<float> mono) override;
    void hush() noexcept override;

   private:
    struct Parts;
    explicit OutputStream(std::unique_ptr<Parts> parts) noexcept;
    std::unique_ptr<Parts> parts_;
};

}  // namespace idlehark
