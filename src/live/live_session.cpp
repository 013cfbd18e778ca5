#include "src/live/live_session.hpp"

#include "dsp/full_scale.hpp"
#include "src/recording/sample24.hpp"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <utility>

namespace idlehark {

namespace {
constexpr auto kPoll = std::chrono::milliseconds{5};  // a callback cannot wake anybody without a lock

void merge(LiveNews& into, LiveNews& from) {
    into.readings.insert(into.readings.end(), from.readings.begin(), from.readings.end());
    into.bursts.insert(into.bursts.end(), from.bursts.begin(), from.bursts.end());
    std::move(from.orders.begin(), from.orders.end(), std::back_inserter(into.orders));
    from.orders.clear();
    from.readings.clear();
    from.bursts.clear();
    for (std::size_t c = 0; c < into.peak.size(); ++c)
        into.peak[c] = std::max(into.peak[c], std::exchange(from.peak[c], 0.0F));
    into.frames = from.frames;
    into.losses = from.losses;
    into.gaps = from.gaps;
    into.clipped_samples = from.clipped_samples;
    into.fault = from.fault;
}
}  // namespace

LiveSession::LiveSession(Capture& capture, const LiveSessionConfig& config, Recorder* recorder)
    : capture_(capture), config_(config), recorder_(recorder) {
    if (config.tracker) {
        LiveAnalysisSinks sinks;
        sinks.reading = [this](const LiveReading& r) { fresh_.readings.push_back(r); };
        sinks.burst = [this](const HissBurst& b) { fresh_.bursts.push_back(b); };
        if (config.orders) sinks.order_row = [this](OrderRow row) { fresh_.orders.push_back(std::move(row)); };
        analysis_.emplace(*config.tracker, std::move(sinks));
        latency_s_ = analysis_->latency_s();
    }
    kept_.reserve(kBlockSamples);
    mono_.reserve(kBlockSamples);
    thread_ = std::jthread{[this](const std::stop_token& stop) { run(stop); }};
}

LiveSession::~LiveSession() = default;

void LiveSession::run(const std::stop_token& stop) {
    while (!stop.stop_requested())
        if (!drain()) std::this_thread::sleep_for(kPoll);
    while (drain()) {
    }
    if (analysis_) analysis_->finish();
    const std::scoped_lock lock{mutex_};
    merge(news_, fresh_);
}

/// Takes what is in the ring and hands the news over; false if there was nothing.
bool LiveSession::drain() {
    const Block* block = capture_.oldest();
    if (!block) return false;
    // A bounded number at a time, so that the news come out while a long backlog is worked off.
    for (int n = 0; block && n < 32; ++n, block = capture_.oldest()) {
        take(*block);
        capture_.release();
    }
    fresh_.losses = capture_.losses();
    const bool tell = !fresh_.readings.empty() || !fresh_.bursts.empty() || fresh_.fault;
    {
        const std::scoped_lock lock{mutex_};
        merge(news_, fresh_);
    }
    if (tell) heard_.notify_one();
    return true;
}

void LiveSession::take(const Block& block) {
    const auto lost_frames = block.first_frame - std::exchange(next_frame_, block.first_frame + block.frames);
    if (block.gap_before) {
        ++fresh_.gaps;
        if (recorder_ && !fresh_.fault)
            if (const auto noted = recorder_->gap(lost_frames); !noted) fresh_.fault = noted.error();
        if (analysis_) analysis_->gap();
    }
    const auto channels = static_cast<std::size_t>(capture_.channels());
    const auto microphone = static_cast<std::size_t>(config_.microphone_channel - 1);
    kept_.clear();
    mono_.clear();
    for (std::size_t i = 0; i < block.frames * channels; ++i) {
        kept_.push_back(to_24_bits(block.samples[i]));
        const float x = from_24_bits(kept_.back());
        const auto c = i % channels;
        fresh_.peak[c] = std::max(fresh_.peak[c], std::fabs(x));
        if (c != microphone) continue;
        mono_.push_back(x);
        if (std::fabs(x) >= kFullScale) ++fresh_.clipped_samples;
    }
    if (recorder_ && !fresh_.fault)
        if (const auto written = recorder_->write(kept_); !written) fresh_.fault = written.error();
    fresh_.frames += block.frames;
    if (analysis_) analysis_->process(mono_);
}

LiveNews LiveSession::take_news() {
    LiveNews news = news_;
    news_.readings.clear();
    news_.bursts.clear();
    news_.orders.clear();
    news_.peak.fill(0.0F);
    return news;
}

LiveNews LiveSession::look(std::chrono::milliseconds patience) {
    std::unique_lock lock{mutex_};
    heard_.wait_for(lock, patience, [this] { return !news_.readings.empty() || !news_.bursts.empty() || news_.fault; });
    return take_news();
}

LiveNews LiveSession::finish() {
    if (thread_.joinable()) {
        thread_.request_stop();
        thread_.join();
    }
    const std::scoped_lock lock{mutex_};
    return take_news();
}

}  // namespace idlehark
