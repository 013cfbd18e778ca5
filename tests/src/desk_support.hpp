#pragma once

#include "src/desk/desk.hpp"

#include <chrono>
#include <functional>
#include <memory>
#include <thread>

namespace idlehark::test {

/// Waits until the view is as wanted; the last view either way.
inline std::shared_ptr<const gui::ViewState> await(const Desk& desk, std::chrono::seconds patience,
                                                   const std::function<bool(const gui::ViewState&)>& wanted) {
    const auto end = std::chrono::steady_clock::now() + patience;
    auto view = desk.view();
    while (!wanted(*view) && std::chrono::steady_clock::now() < end) {
        std::this_thread::sleep_for(std::chrono::milliseconds{10});
        view = desk.view();
    }
    return view;
}

inline void open_gate(Desk& desk) {
    desk.send(gui::ask::AlternativesSeen{});
    for (std::size_t i = 0; i < gui::kGatePoints; ++i)
        desk.send(gui::ask::AnswerGate{static_cast<gui::GatePoint>(i), true});
}

}  // namespace idlehark::test
