#pragma once

#include "src/result.hpp"

#include <atomic>
#include <deque>
#include <functional>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <utility>

namespace idlehark {

/// Long work beside the desk, one piece after the other: told how far it is, asked to end early, and its outcome
/// fetched by the owner, so that nothing of the desk is touched from another thread.
class Job {
   public:
    /// What the work may do: say how far it is. Throws (to unwind the work) when the job was cancelled.
    class Ticket {
       public:
        explicit Ticket(Job& job) : job_(job) {}
        void at(double share);

       private:
        Job& job_;
    };
    using Outcome = std::function<void()>;         ///< run by the owner
    using Work = std::function<Outcome(Ticket&)>;  ///< run by the job's thread

    /// Begins it, or when what is under way has finished.
    void start(std::string what, Work work);
    /// The outcome, once; to be asked often. A fault of the work goes to `failed`.
    [[nodiscard]] std::optional<Outcome> finished(const std::function<void(Error)>& failed);
    /// What waits is given up as well; what is started afterwards is not.
    void cancel() noexcept { ++cancels_; }
    [[nodiscard]] bool running() const noexcept { return thread_.joinable(); }
    [[nodiscard]] const std::string& what() const noexcept { return what_; }
    [[nodiscard]] double share() const noexcept { return share_.load(); }
    ~Job();

   private:
    void begin(std::string what, Work work);
    void drop_if_cancelled();

    std::deque<std::pair<std::string, Work>> waiting_;
    unsigned dropped_for_ = 0;  ///< how many cancellations what waited was given up for
    std::string what_;
    std::atomic<double> share_{0.0};
    std::atomic<unsigned> cancels_{0};
    unsigned begun_at_ = 0;  ///< `cancels_` when what runs began
    std::atomic<bool> done_{false};
    std::mutex mutex_;
    Outcome outcome_;
    std::optional<Error> fault_;
    std::jthread thread_;
};

}  // namespace idlehark
