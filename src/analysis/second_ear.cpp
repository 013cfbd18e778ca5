#include "src/analysis/second_ear.hpp"

#include <utility>

namespace idlehark {

SecondEar::SecondEar(std::function<void(AudioView)> listener, std::function<void()> at_gap)
    : listener_(std::move(listener)), at_gap_(std::move(at_gap)) {
    if (listener_) thread_ = std::jthread([this] { listen(); });
}

SecondEar::~SecondEar() {
    const std::lock_guard lock(mutex_);
    ended_ = true;
    changed_.notify_all();
}

void SecondEar::take(AudioView block) { put(block, false); }

void SecondEar::gap() {
    if (at_gap_) put({}, true);
}

void SecondEar::put(AudioView block, bool is_gap) {
    if (!listener_) return;
    std::unique_lock lock(mutex_);
    changed_.wait(lock, [this] { return thrown_ || taken_ - heard_ < waiting_.size(); });
    if (thrown_) std::rethrow_exception(thrown_);
    lock.unlock();
    auto& free = waiting_[taken_ % waiting_.size()];  // not the listener's before it is counted
    free.sound.assign(block.begin(), block.end());
    free.is_gap = is_gap;
    lock.lock();
    ++taken_;
    changed_.notify_all();
}

void SecondEar::finish() {
    std::unique_lock lock(mutex_);
    changed_.wait(lock, [this] { return thrown_ || heard_ == taken_; });
    if (thrown_) std::rethrow_exception(thrown_);
}

void SecondEar::listen() {
    for (std::unique_lock lock(mutex_);; ++heard_, changed_.notify_all()) {
        changed_.wait(lock, [this] { return ended_ || heard_ < taken_; });
        if (ended_) return;
        lock.unlock();
        try {
            const auto& next = waiting_[heard_ % waiting_.size()];
            if (next.is_gap)
                at_gap_();
            else
                listener_(next.sound);
        } catch (...) {
            lock.lock();
            thrown_ = std::current_exception();
            changed_.notify_all();
            return;
        }
        lock.lock();
    }
}

}  // namespace idlehark
