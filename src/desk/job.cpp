#include "src/desk/job.hpp"

#include <exception>
#include <utility>

namespace idlehark {

namespace {
struct Cancelled {};
}  // namespace

void Job::Ticket::at(double share) {
    job_.share_.store(share);
    if (job_.cancels_.load() != job_.begun_at_) throw Cancelled{};
}

void Job::start(std::string what, Work work) {
    if (!running()) return begin(std::move(what), std::move(work));
    drop_if_cancelled();  // what comes after a cancellation is not meant by it
    waiting_.emplace_back(std::move(what), std::move(work));
}

void Job::drop_if_cancelled() {
    const auto cancels = cancels_.load();
    if (cancels != std::exchange(dropped_for_, cancels)) waiting_.clear();
}

void Job::begin(std::string what, Work work) {
    begun_at_ = dropped_for_ = cancels_.load();
    what_ = std::move(what);
    share_ = 0.0;
    done_ = false;
    outcome_ = {};
    fault_.reset();
    thread_ = std::jthread{[this, work = std::move(work)] {
        Outcome outcome;
        std::optional<Error> fault;
        try {
            Ticket ticket{*this};
            outcome = work(ticket);
        } catch (const Cancelled&) {
        } catch (const std::exception& e) {
            fault = Error{what_ + ": " + e.what(), ""};
        }
        {
            const std::scoped_lock lock{mutex_};
            outcome_ = std::move(outcome);
            fault_ = std::move(fault);
        }
        done_.store(true);
    }};
}

std::optional<Job::Outcome> Job::finished(const std::function<void(Error)>& failed) {
    if (!running() || !done_.load()) return {};
    thread_.join();
    drop_if_cancelled();
    Outcome outcome;
    {
        const std::scoped_lock lock{mutex_};
        if (fault_) failed(*std::exchange(fault_, {}));
        outcome = std::exchange(outcome_, {});
    }
    if (!waiting_.empty()) {
        auto [what, work] = std::move(waiting_.front());
        waiting_.pop_front();
        begin(std::move(what), std::move(work));
    }
    return outcome;
}

Job::~Job() { cancel(); }

}  // namespace idlehark
