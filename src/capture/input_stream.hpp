#pragma once

#include "src/capture/audio_system.hpp"
#include "src/capture/capture.hpp"
#include "src/result.hpp"

#include <memory>

namespace idlehark {

struct InputRequest {
    AudioDevice device;
    double sample_rate_hz = 0.0;  ///< 0: the device's default
    int channels = 0;             ///< 1 or 2; 0: two if the device has them
};

/// A running input: the device fills `capture()` until this is destroyed.
/// Errors   open(): what the device refused, and what it would take. A device that goes away later simply falls
///          silent: `running()` turns false or `capture().frames()` stands still.
/// Threads  one owner; one other thread reads `capture()`. An AudioSystem must live longer than this.
class InputStream {
   public:
    static Result<InputStream> open(const InputRequest& request);
    ~InputStream();
    InputStream(InputStream&&) noexcept;
    InputStream& operator=(InputStream&&) = delete;

    [[nodiscard]] Capture& capture() noexcept;
    [[nodiscard]] double sample_rate_hz() const noexcept;  ///< as the device reports it, not as asked
    [[nodiscard]] double latency_s() const noexcept;       ///< from the air to `capture()`, as the device reports it
    [[nodiscard]] bool running() const noexcept;
    /// Ends the delivery; what the ring holds stays readable.
    void stop() noexcept;

   private:
    struct Parts;
    explicit InputStream(std::unique_ptr<Parts> parts) noexcept;
    std::unique_ptr<Parts> parts_;
};

}  // namespace idlehark
