#pragma once

#include "src/capture/capture.hpp"
#include "src/recording/recorder.hpp"
#include "src/recording/sound_file.hpp"

#include <atomic>
#include <cstdint>
#include <string>
#include <thread>
#include <vector>

namespace idlehark {

/// Plays a recording into a Capture as a device would, gaps of its events file included: replay goes the live way.
/// `pace` 1: as fast as it was recorded; 0: as fast as the reader takes it. Threads: its own, from the constructor on.
class FilePlayer {
   public:
    /// `capture` must have one channel, and outlive this.
    FilePlayer(SoundFile file, const std::string& path, Capture& capture, double pace);

    [[nodiscard]] bool done() const noexcept { return done_.load(std::memory_order_acquire); }
    /// Complete once done.
    [[nodiscard]] const std::optional<std::string>& warning() const noexcept { return file_.warning(); }

   private:
    void run(const std::stop_token& stop);
    [[nodiscard]] bool play(AudioView x, const std::stop_token& stop);

    SoundFile file_;
    Capture& capture_;
    double pace_;
    std::vector<RecordedGap> gaps_;
    std::uint64_t played_ = 0;
    std::atomic<bool> done_{false};
    std::jthread thread_;
};

}  // namespace idlehark
