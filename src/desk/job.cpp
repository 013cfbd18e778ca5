#include "src/desk/job.hpp"

#include <exception>
#include <utility>

namespace idlehark {

namespace {
struct Cancelled {};
}  // namespace

void Job::Ticket::at(double share) {
    job_.share_.store(share);
    if (job_.cancelled_.load()) throw Cancelled{};
}

bool Job::start(std::string what, Work work) {
    if (running()) return false;
    what_ = std::move(what);
    share_ = 0.0;
    cancelled_ = done_ = false;
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
    return true;
}

std::optional<Job::Outcome> Job::finished(const std::function<void(Error)>& failed) {
    if (!running() || !done_.load()) return {};
    thread_.join();
    const std::scoped_lock lock{mutex_};
    if (fault_) failed(*std::exchange(fault_, {}));
    return std::exchange(outcome_, {});
}

Job::~Job() { cancel(); }

}  // namespace idlehark
