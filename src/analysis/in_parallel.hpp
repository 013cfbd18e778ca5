#pragma once

#include <algorithm>
#include <atomic>
#include <condition_variable>
#include <cstddef>
#include <exception>
#include <functional>
#include <mutex>
#include <optional>
#include <thread>
#include <utility>
#include <vector>

namespace idlehark {

/// No more recordings than so many are held at once, however many processors there are.
inline constexpr std::size_t kMostAtOnce = 4;

/// Does `work(i)` for every i in 0..count-1, several at a time, the first ones first.
/// Output   what it returned, in order. `failed(result)` ends it early: what follows the first failed one may be
///          missing, what comes before it is there.
/// `done` is told on the calling thread how many are finished; what it or `work` throws comes out here, when all that
/// was begun has ended.
template <class Work, class Failed>
auto in_parallel(std::size_t count, const Work& work, const Failed& failed,
                 const std::function<void(std::size_t)>& done) {
    using Result = decltype(work(std::size_t{}));
    std::vector<std::optional<Result>> results(count);
    std::atomic<std::size_t> next{0};
    std::mutex mutex;
    std::condition_variable changed;
    std::size_t finished = 0;
    std::size_t running = 0;
    std::exception_ptr thrown;
    const auto run = [&] {
        for (std::size_t i = next++; i < count; i = next++) {
            try {
                auto result = work(i);
                if (failed(result)) next = count;
                const std::lock_guard lock(mutex);
                results[i] = std::move(result);
                ++finished;
            } catch (...) {
                next = count;
                const std::lock_guard lock(mutex);
                thrown = std::current_exception();
            }
            changed.notify_all();
        }
        const std::lock_guard lock(mutex);
        --running;
        changed.notify_all();
    };
    {
        std::vector<std::jthread> threads;
        running = std::min({count, kMostAtOnce, std::max<std::size_t>(1, std::thread::hardware_concurrency())});
        const std::size_t all = running;
        for (std::size_t t = 0; t < all; ++t) threads.emplace_back(run);
        try {
            std::size_t told = 0;
            for (std::unique_lock lock(mutex); running > 0 || told < finished;) {
                changed.wait(lock, [&] { return running == 0 || told < finished; });
                if (told == finished) continue;
                told = finished;
                lock.unlock();
                if (done) done(told);
                lock.lock();
            }
        } catch (...) {
            next = count;
            throw;  // the threads are joined on the way out
        }
    }
    if (thrown) std::rethrow_exception(thrown);
    return results;
}

}  // namespace idlehark
