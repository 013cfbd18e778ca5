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
    explicit SecondEar(std::function<void(AudioView)> listener);
    SecondEar(const SecondEar&) = delete;
    SecondEar& operator=(const SecondEar&) = delete;
    ~SecondEar();
    /// Copies the block; waits for the listener where it is far behind. Throws what the listener threw.
    void take(AudioView block);
    /// Waits until all has been heard. Throws what the listener threw.
    void finish();

   private:
    void listen();

    std::function<void(AudioView)> listener_;
    std::array<std::vector<float>, 4> blocks_;
    std::mutex mutex_;
    std::condition_variable changed_;
    std::size_t taken_ = 0, heard_ = 0;
    bool ended_ = false;
    std::exception_ptr thrown_;
    std::jthread thread_;  ///< the last: it uses all the others
};

}  // namespace idlehark
