#pragma once

#include "dsp/injectors/injector_set.hpp"
#include "src/report/injector_view.hpp"
#include "src/result.hpp"

#include <functional>
#include <string>
#include <utility>
#include <variant>
#include <vector>

namespace idlehark {

struct InjectorRequest {
    Engine engine;
    std::string engine_file;
    std::vector<std::pair<int, std::string>> recordings;  ///< cylinder and sound file, in the order given
    int channel = 1;
};

/// Why there is no answer: the sound (exit 1), or what was asked (exit 2).
struct InjectorFailure {
    Error error;
    bool sound_is_why = false;
};

/// Listens to every recording, several at a time, and compares them. `progress` is told how many are done.
[[nodiscard]] std::variant<InjectorView, InjectorFailure> judge_injectors(
    const InjectorRequest& request, const std::function<void(std::size_t done)>& progress);

}  // namespace idlehark
