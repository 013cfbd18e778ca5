#include "src/live/file_player.hpp"

#include <algorithm>
#include <chrono>

namespace idlehark {

FilePlayer::FilePlayer(SoundFile file, const std::string& path, Capture& capture, double pace)
    : file_(std::move(file)), capture_(capture), pace_(pace), gaps_(read_gaps(path)) {
    std::reverse(gaps_.begin(), gaps_.end());  // the next one at the back
    thread_ = std::jthread{[this](const std::stop_token& stop) { run(stop); }};
}

void FilePlayer::run(const std::stop_token& stop) {
    for (AudioView x = file_.read(); !x.empty(); x = file_.read()) {
        while (!gaps_.empty() && gaps_.back().frame < played_ + x.size()) {
            const auto at = gaps_.back().frame < played_ ? 0 : gaps_.back().frame - played_;
            gaps_.pop_back();
            if (!play(x.first(at), stop)) return;
            x = x.subspan(at);
            capture_.note_device_gap();
        }
        if (!play(x, stop)) return;
    }
    done_.store(true, std::memory_order_release);
}

bool FilePlayer::play(AudioView x, const std::stop_token& stop) {
    constexpr std::size_t kPiece_frames = 480;
    const auto begin = std::chrono::steady_clock::now();
    const double rate_hz = file_.info().sample_rate_hz * pace_;
    for (std::size_t at = 0; at < x.size();) {
        if (stop.stop_requested()) return false;
        if (capture_.nearly_full()) {
            std::this_thread::sleep_for(std::chrono::milliseconds{1});
            continue;
        }
        const auto n = std::min(kPiece_frames, x.size() - at);
        capture_.submit(x.data() + at, n);
        at += n;
        played_ += n;
        if (pace_ > 0.0)
            std::this_thread::sleep_until(begin +
                                          std::chrono::duration_cast<std::chrono::steady_clock::duration>(
                                              std::chrono::duration<double>(static_cast<double>(at) / rate_hz)));
    }
    return true;
}

}  // namespace idlehark
