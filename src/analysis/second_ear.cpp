#include "src/analysis/second_ear.hpp"

#include <utility>

namespace idlehark {

SecondEar::SecondEar(std::function<void(AudioView)> listener) : listener_(std::move(listener)) {
    if (listener_) thread_ = std::jthread([this] { listen(); });
}

SecondEar::~SecondEar() {
    const std::lock_guard lock(mutex_);
    ended_ = true;
    changed_.notify_all();
}

void SecondEar::take(AudioView block) {
    if (!listener_) return;
    std::unique_lock lock(mutex_);
    changed_.wait(lock, [this] { return thrown_ || taken_ - heard_ < blocks_.size(); });
    if (thrown_) std::rethrow_exception(thrown_);
    lock.unlock();
    blocks_[taken_ % blocks_.size()].assign(block.begin(), block.end());  // not the listener's before it is counted
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
            listener_(blocks_[heard_ % blocks_.size()]);
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
