#include "src/practice/practice_player.hpp"

#include <algorithm>
#include <chrono>
#include <utility>

namespace idlehark {

namespace {
constexpr double kBetween_s = 0.3;  // one can: two bursts asked for at once come one after the other
}

PracticePlayer::PracticePlayer(std::unique_ptr<sim::LiveBay> bay, Capture& capture, double pace)
    : bay_(std::move(bay)), capture_(capture), pace_(pace) {}

void PracticePlayer::start() {
    thread_ = std::jthread{[this](const std::stop_token& stop) { run(stop); }};
}

void PracticePlayer::stop() {
    if (!thread_.joinable()) return;
    thread_.request_stop();
    thread_.join();
}

void PracticePlayer::spray(const std::vector<std::string>& spots) {
    const auto& there = bay_->spec().spots;
    std::vector<std::size_t> indices;
    for (const auto& spot : spots)
        for (std::size_t i = 0; i < there.size(); ++i)
            if (there[i].id == spot) indices.push_back(i);
    const std::scoped_lock lock{mutex_};
    if (!indices.empty()) wanted_.push_back(std::move(indices));
}

std::vector<sim::SessionBurst> PracticePlayer::bursts() const {
    const std::scoped_lock lock{mutex_};
    return begun_;
}

void PracticePlayer::begin_bursts() {
    const std::scoped_lock lock{mutex_};
    if (wanted_.empty()) return;
    // Inside, sound is made a block ahead.
    const auto& spec = bay_->spec();
    const double now_s = static_cast<double>(frames_ + 2 * sim::Source::kBlockFrames) / spec.engine.sample_rate_hz;
    for (const auto& spots : wanted_) {
        const double start_s = std::max(now_s, free_from_s_);
        bay_->spray(start_s, spots, spec.hands.burst_duration_s);
        free_from_s_ = start_s + spec.hands.burst_duration_s + kBetween_s;
    }
    wanted_.clear();
    begun_ = bay_->bursts();
}

void PracticePlayer::run(const std::stop_token& stop) {
    using Clock = std::chrono::steady_clock;
    std::vector<float> piece(sim::Source::kBlockFrames);
    const double rate_hz = bay_->spec().engine.sample_rate_hz * pace_;
    const auto piece_time = std::chrono::duration_cast<Clock::duration>(
        std::chrono::duration<double>(static_cast<double>(piece.size()) / rate_hz));
    auto& sound = bay_->sound();
    auto due = Clock::now();
    while (!stop.stop_requested()) {
        if (capture_.nearly_full()) {
            std::this_thread::sleep_for(std::chrono::milliseconds{1});
            due = Clock::now();
            continue;
        }
        begin_bursts();
        sound.render(piece);
        frames_ += piece.size();
        capture_.submit(piece.data(), piece.size());
        due += piece_time;
        // A machine that cannot keep up plays slower rather than catch up in a rush.
        due = std::max(due, Clock::now() - 4 * piece_time);
        std::this_thread::sleep_until(due);
    }
}

}  // namespace idlehark
