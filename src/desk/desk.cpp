#include "src/desk/desk.hpp"

#include "src/desk/desk_worker.hpp"

#include <utility>

namespace idlehark {

Desk::Desk(const DeskOptions& options) : worker_(std::make_unique<Worker>(options)) {}
Desk::~Desk() = default;
std::shared_ptr<const gui::ViewState> Desk::view() const { return worker_->view(); }
void Desk::send(gui::Command command) { worker_->send(std::move(command)); }

}  // namespace idlehark
