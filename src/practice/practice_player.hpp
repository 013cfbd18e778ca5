#pragma once

#include "dsp/sim/live_bay.hpp"
#include "src/capture/capture.hpp"

#include <cstddef>
#include <cstdint>
#include <memory>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

namespace idlehark {

/// A simulated bay in the microphone's place: plays into a Capture as a device would, and answers spray as it comes.
/// `pace`  1: in real time, above: so many times as fast, as far as the machine can.
/// Threads its own, from start() on; the rest may be called from any.
class PracticePlayer {
   public:
    /// `capture` must have one channel, and outlive this. Errors: std::invalid_argument as LiveBay.
    PracticePlayer(std::unique_ptr<sim::LiveBay> bay, Capture& capture, double pace);
    void start();
    void stop();

    /// A burst on a spot, or one pass over several.
    void spray(const std::vector<std::string>& spots);
    /// The bursts that were really sprayed, as far as they have begun.
    [[nodiscard]] std::vector<sim::SessionBurst> bursts() const;
    [[nodiscard]] const sim::SessionSpec& spec() const noexcept { return bay_->spec(); }

   private:
    void run(const std::stop_token& stop);
    void begin_bursts();

    std::unique_ptr<sim::LiveBay> bay_;
    Capture& capture_;
    double pace_;
    std::uint64_t frames_ = 0;
    double free_from_s_ = 0.0;  ///< the can is let go
    mutable std::mutex mutex_;
    std::vector<std::vector<std::size_t>> wanted_;
    std::vector<sim::SessionBurst> begun_;
    std::jthread thread_;
};

}  // namespace idlehark
