#pragma once

#include "dsp/units.hpp"

#include <array>
#include <condition_variable>
#include <cstddef>
#include <exception>
#include <functional>
#include <mutex>
#include <thread>
#include <vector>

namespace idlehark {

/// Hears the sound that goes by on a thread of its own, block after block in order, some blocks behind at most.
/// Without a listener it does nothing.
class SecondEar {
   public:
    /// `at_gap` is called between two blocks where sound is missing, on the same thread.
    explicit SecondEar(std::function<void(AudioView)> listener, std::function<void()> at_gap = {});
    SecondEar(const SecondEar&) = delete;
    SecondEar& operator=(const SecondEar&) = delete;
    ~SecondEar();
    /// Copies the block; waits for the listener where it is far behind. Throws what the listener threw.
    void take(AudioView block);
    /// Sound is missing before the next block. Waits and throws as take() does.
    void gap();
    /// Waits until all has been heard. Throws what the listener threw.
    void finish();

   private:
    struct Waiting {
        std::vector<float> sound;
        bool is_gap = false;
    };
    void put(AudioView block, bool is_gap);
    void listen();

    std::function<void(AudioView)> listener_;
    std::function<void()> at_gap_;
    std::array<Waiting, 4> waiting_;
    std::mutex mutex_;
    std::condition_variable changed_;
    std::size_t taken_ = 0, heard_ = 0;
    bool ended_ = false;
    std::exception_ptr thrown_;
    std::jthread thread_;  ///< the last: it uses all the others
};

}  // namespace idlehark
