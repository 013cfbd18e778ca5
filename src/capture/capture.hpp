#pragma once

#include "src/capture/ring.hpp"

#include <atomic>
#include <cstdint>

namespace idlehark {

/// What went missing between the device and the reader, since the start.
struct CaptureLosses {
    std::uint64_t device_gaps = 0;     ///< the device reported lost sound; how much is unknown
    std::uint64_t dropped_frames = 0;  ///< handed over by the device, but the ring was full
    friend bool operator==(const CaptureLosses&, const CaptureLosses&) = default;
};

/// The way from the audio callback to the reading thread.
/// Input    submit(): interleaved float in pieces of any length. Output: the blocks of `oldest()`, in order.
/// Loss     never silent: the first block after missing sound carries `gap_before`, and both counters are kept.
/// Capacity 2048 blocks: 10.9 s of 48 kHz stereo, 4 MiB.
/// Threads  submit() and note_device_gap(): one writer; they neither allocate, lock nor wait.
///          oldest() and release(): one reader. losses() and frames(): any.
class Capture {
   public:
    explicit Capture(int channels) noexcept : channels_(static_cast<std::uint32_t>(channels)) {}

    void submit(const float* interleaved, std::uint64_t frames) noexcept;
    void note_device_gap() noexcept;
    /// For writers that can wait, as the replay of a file: less than a quarter of the ring is free. Writer only.
    [[nodiscard]] bool nearly_full() const noexcept { return ring_.room() < ring_.capacity() / 4; }

    [[nodiscard]] const Block* oldest() const noexcept { return ring_.oldest(); }
    void release() noexcept { ring_.release(); }

    [[nodiscard]] int channels() const noexcept { return static_cast<int>(channels_); }
    [[nodiscard]] CaptureLosses losses() const noexcept;
    /// Frames the device handed over, dropped ones too.
    [[nodiscard]] std::uint64_t frames() const noexcept { return frames_.load(std::memory_order_relaxed); }

   private:
    BlockRing<2048> ring_;
    std::uint32_t channels_;
    bool gap_ = false;  // the writer's: to be told with the next block
    std::atomic<std::uint64_t> frames_{0};
    std::atomic<std::uint64_t> device_gaps_{0};
    std::atomic<std::uint64_t> dropped_frames_{0};
};

}  // namespace idlehark
