#include "src/analysis/side_thread.hpp"

#include <utility>

namespace idlehark {

SideThread::~SideThread() {
    const std::lock_guard lock(mutex_);
    ended_ = true;
    changed_.notify_all();
}

void SideThread::give(std::function<void()> work) {
    if (!thread_.joinable()) thread_ = std::jthread([this] { run(); });
    std::unique_lock lock(mutex_);
    changed_.wait(lock, [this] { return thrown_ || given_ - done_ < waiting_.size(); });
    if (thrown_) std::rethrow_exception(thrown_);
    waiting_[given_ % waiting_.size()] = std::move(work);
    ++given_;
    changed_.notify_all();
}

void SideThread::finish() {
    std::unique_lock lock(mutex_);
    changed_.wait(lock, [this] { return thrown_ || done_ == given_; });
    if (thrown_) std::rethrow_exception(thrown_);
}

void SideThread::run() {
    for (std::unique_lock lock(mutex_);; ++done_, changed_.notify_all()) {
        changed_.wait(lock, [this] { return ended_ || done_ < given_; });
        if (ended_) return;
        auto work = std::exchange(waiting_[done_ % waiting_.size()], {});
        lock.unlock();
        try {
            work();
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
