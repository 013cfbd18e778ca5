#pragma once

#include <chrono>
#include <functional>
#include <future>
#include <optional>
#include <utility>
#include <vector>

namespace idlehark::gui {

/// Work off the window's thread, of which only what was started last is wanted: a folder's list, a photo.
/// Threads  one owner. No call waits; the destructor does.
template <class T>
class Fetch {
   public:
    void start(std::function<T()> work) {
        forget();
        wanted_ = std::async(std::launch::async, std::move(work));
    }
    /// What is under way is not wanted any more; it ends by itself.
    void forget() {
        if (wanted_.valid()) unwanted_.push_back(std::move(wanted_));
    }
    [[nodiscard]] bool waiting() const noexcept { return wanted_.valid(); }
    /// What came of it, once.
    [[nodiscard]] std::optional<T> take() {
        std::erase_if(unwanted_, ready);
        if (!wanted_.valid() || !ready(wanted_)) return {};
        return wanted_.get();
    }

   private:
    [[nodiscard]] static bool ready(const std::future<T>& f) {
        return f.wait_for(std::chrono::seconds{0}) == std::future_status::ready;
    }
    std::future<T> wanted_;
    std::vector<std::future<T>> unwanted_;
};

}  // namespace idlehark::gui
