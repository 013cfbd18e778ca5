#pragma once

#include <array>
#include <atomic>
#include <cstddef>
#include <cstdint>
#include <memory>

namespace idlehark {

inline constexpr std::size_t kBlockSamples = 512;  ///< over all channels: 256 frames of stereo
inline constexpr int kMostCaptureChannels = 2;

/// A piece of captured sound, interleaved. `first_frame` counts every frame the device handed over, dropped ones too.
struct Block {
    std::uint64_t first_frame = 0;
    std::uint32_t frames = 0;
    bool gap_before = false;  ///< sound is missing between the block before and this one
    std::array<float, kBlockSamples> samples{};
};

/// Bounded queue between one writer thread and one reader thread. Neither side ever waits, allocates or locks.
/// The writer publishes a slot with a release store of its index after filling it; the reader's acquire load of that
/// index makes the filling visible, and the other way round for slots given back.
template <std::size_t kSlots>
class BlockRing {
    static_assert(kSlots >= 2 && (kSlots & (kSlots - 1)) == 0, "indices wrap by masking");

   public:
    BlockRing() : slots_(std::make_unique<std::array<Block, kSlots>>()) {}

    /// Writer only: the slot to fill, nullptr while the ring is full. Filled slots become visible with `publish()`.
    [[nodiscard]] Block* vacant() noexcept {
        const auto w = write_.load(std::memory_order_relaxed);
        if (w - read_.load(std::memory_order_acquire) == kSlots) return nullptr;
        return &(*slots_)[w % kSlots];
    }
    void publish() noexcept { write_.store(write_.load(std::memory_order_relaxed) + 1, std::memory_order_release); }

    /// Reader only: the oldest block, nullptr while there is none. It is the reader's until `release()`.
    [[nodiscard]] const Block* oldest() const noexcept {
        const auto r = read_.load(std::memory_order_relaxed);
        if (write_.load(std::memory_order_acquire) == r) return nullptr;
        return &(*slots_)[r % kSlots];
    }
    void release() noexcept { read_.store(read_.load(std::memory_order_relaxed) + 1, std::memory_order_release); }

    /// Writer only: blocks that could still be filled.
    [[nodiscard]] std::size_t room() const noexcept {
        return kSlots - (write_.load(std::memory_order_relaxed) - read_.load(std::memory_order_acquire));
    }

    static constexpr std::size_t capacity() noexcept { return kSlots; }

   private:
    static_assert(std::atomic<std::size_t>::is_always_lock_free);
    std::unique_ptr<std::array<Block, kSlots>> slots_;
    alignas(64) std::atomic<std::size_t> write_{0};  // apart, so that the two threads don't share a cache line
    alignas(64) std::atomic<std::size_t> read_{0};
};

}  // namespace idlehark
