#pragma once

#include <array>
#include <condition_variable>
#include <cstddef>
#include <exception>
#include <functional>
#include <mutex>
#include <thread>

namespace idlehark {

/// Work done beside the caller's own, in the order it was given, on one thread that begins with the first of it.
class SideThread {
   public:
    SideThread() = default;
    SideThread(const SideThread&) = delete;
    SideThread& operator=(const SideThread&) = delete;
    /// What has not begun is left undone.
    ~SideThread();
    /// Waits where too much is undone. Throws what the work threw; then nothing more is done.
    void give(std::function<void()> work);
    /// Waits until all has been done. Throws what the work threw.
    void finish();

   private:
    void run();

    std::array<std::function<void()>, 4> waiting_;
    std::mutex mutex_;
    std::condition_variable changed_;
    std::size_t given_ = 0, done_ = 0;
    bool ended_ = false;
    std::exception_ptr thrown_;
    std::jthread thread_;  ///< the last: it uses all the others
};

}  // namespace idlehark
