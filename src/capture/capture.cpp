#include "src/capture/capture.hpp"

#include <algorithm>

namespace idlehark {

void Capture::submit(const float* interleaved, std::uint64_t frames) noexcept {
    auto at = frames_.load(std::memory_order_relaxed);
    const std::uint64_t most = kBlockSamples / channels_;
    while (frames > 0) {
        const auto n = std::min(frames, most);
        if (Block* block = ring_.vacant()) {
            block->first_frame = at;
            block->frames = static_cast<std::uint32_t>(n);
            block->gap_before = gap_;
            gap_ = false;
            std::copy_n(interleaved, n * channels_, block->samples.data());
            ring_.publish();
        } else {
            dropped_frames_.fetch_add(n, std::memory_order_relaxed);
            gap_ = true;
        }
        at += n;
        interleaved += n * channels_;
        frames -= n;
    }
    frames_.store(at, std::memory_order_relaxed);
}

void Capture::note_device_gap() noexcept {
    device_gaps_.fetch_add(1, std::memory_order_relaxed);
    gap_ = true;
}

CaptureLosses Capture::losses() const noexcept {
    return {.device_gaps = device_gaps_.load(std::memory_order_relaxed),
            .dropped_frames = dropped_frames_.load(std::memory_order_relaxed)};
}

}  // namespace idlehark
