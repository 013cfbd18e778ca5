#pragma once

#include "src/capture/audio_system.hpp"
#include "src/result.hpp"

#include <memory>
#include <vector>

namespace idlehark {

/// A running output that plays one sound at a time and silence otherwise.
/// Errors   open(): what the device refused. Threads: one owner; an AudioSystem must live longer than this. The
///          callback copies what it was handed: it neither allocates, locks nor waits.
class OutputStream {
   public:
    static Result<OutputStream> open(const AudioDevice& device);
    ~OutputStream();
    OutputStream(OutputStream&&) noexcept;
    OutputStream& operator=(OutputStream&&) = delete;

    [[nodiscard]] double sample_rate_hz() const noexcept;
    [[nodiscard]] bool playing() const noexcept;
    /// Mono at `sample_rate_hz()`. False, and nothing done, while another sound is playing.
    bool play(std::vector<float> mono);
    /// Falls silent at once.
    void hush() noexcept;

   private:
    struct Parts;
    explicit OutputStream(std::unique_ptr<Parts> parts) noexcept;
    std::unique_ptr<Parts> parts_;
};

}  // namespace idlehark
