#pragma once

#include "src/capture/capture.hpp"
#include "src/live/live_analysis.hpp"
#include "src/recording/recorder.hpp"
#include "src/result.hpp"

#include <array>
#include <chrono>
#include <condition_variable>
#include <cstdint>
#include <mutex>
#include <optional>
#include <thread>
#include <vector>

namespace idlehark {

struct LiveSessionConfig {
    double sample_rate_hz = 48000.0;
    int microphone_channel = 1;                ///< counts from 1
    std::optional<IdleTrackerConfig> tracker;  ///< without it nothing is measured, only recorded
    bool orders = false;                       ///< the news bring the waterfall of orders as well
};

/// What has been heard since the last look, and how things stand.
struct LiveNews {
    std::vector<LiveReading> readings;
    std::vector<HissBurst> bursts;
    std::vector<OrderRow> orders;                    ///< if asked for
    std::array<float, kMostCaptureChannels> peak{};  ///< since the last look
    std::uint64_t frames = 0;                        ///< taken out of the ring, and recorded if there is a recording
    CaptureLosses losses;
    std::uint64_t gaps = 0;
    std::uint64_t clipped_samples = 0;  ///< of the microphone
    std::optional<Error> fault;         ///< the recording cannot go on
};

/// The analysis thread: takes the blocks out of the ring, records them, measures them, keeps the news for the main
/// thread. What is measured is what is recorded, sample for sample.
/// Threads  the constructor starts the thread; finish() ends it. `look()` and `finish()`: one other thread. `capture`
///          and `recorder` must outlive this, and the recorder is the thread's own until finish() has returned.
class LiveSession {
   public:
    /// Throws std::invalid_argument as IdleTracker does.
    LiveSession(Capture& capture, const LiveSessionConfig& config, Recorder* recorder);
    ~LiveSession();
    LiveSession(const LiveSession&) = delete;
    LiveSession& operator=(const LiveSession&) = delete;

    /// Waits until there are readings or bursts, at most `patience`, and takes all the news.
    [[nodiscard]] LiveNews look(std::chrono::milliseconds patience);
    /// Takes what is still in the ring, ends the measuring and the thread; the last news.
    LiveNews finish();
    [[nodiscard]] double latency_s() const noexcept { return latency_s_; }

   private:
    void run(const std::stop_token& stop);
    bool drain();
    void take(const Block& block);
    [[nodiscard]] LiveNews take_news();

    Capture& capture_;
    LiveSessionConfig config_;
    Recorder* recorder_;
    std::optional<LiveAnalysis> analysis_;
    double latency_s_ = 0.0;
    std::vector<std::int32_t> kept_;
    std::vector<float> mono_;
    std::uint64_t next_frame_ = 0;
    LiveNews fresh_;  ///< the thread's own, until it is handed over

    std::mutex mutex_;
    std::condition_variable heard_;
    LiveNews news_;
    std::jthread thread_;
};

}  // namespace idlehark
