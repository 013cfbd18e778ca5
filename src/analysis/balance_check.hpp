#pragma once

#include "dsp/balance/balance.hpp"
#include "src/analysis/listen.hpp"

#include <optional>
#include <span>
#include <string>
#include <variant>
#include <vector>

namespace idlehark {

struct BalanceRequest {
    ListenRequest listen;
    std::optional<int> reference_channel;  ///< of the same recording: a pick-up pulse on one lead
    int reference_cylinder = 1;            ///< whose lead it is
};

/// One firing as it is shown: named by its cylinder's number, or by a letter in firing order.
struct BalanceRow {
    std::string name;
    std::vector<int> at_tail_pipe;  ///< the cylinder it may be instead if that is where the microphone was
    CylinderBalance figures;
};

/// Plain values for the table, the JSON and the picture.
struct BalanceView {
    std::string engine, recording;
    std::string headline;
    Balance balance;  ///< `cylinders` are in `rows`' order
    std::vector<BalanceRow> rows;
    bool named = false;  ///< by cylinder number
    std::vector<std::string> cautions, notes;
};

struct BalanceFailure {
    Error error;
    bool sound_is_why = false;
};

/// One pass over the recording (two with a reference channel), then the balance in words and figures.
std::variant<BalanceView, BalanceFailure> check_balance(const BalanceRequest& request, const ListenSinks& sinks);

[[nodiscard]] std::string word(CylinderVerdict v);
[[nodiscard]] std::string balance_table(const BalanceView& view);
/// The name, and in brackets what it is at the tail pipe where that is another.
[[nodiscard]] std::string label(const std::string& name, std::span<const int> at_tail_pipe);
/// {"rpm","cycles","half_order_share","named","spark_to_sound_deg","summary",
/// "cylinders":[{"cylinder" or "firing","at_tail_pipe":[other cylinders],"angle_deg","strength",
/// "strength_low","strength_high","misfire_percent","misfire_low","misfire_high","p_weak","p_misfire","verdict"}],
/// "cautions","notes"}; what is not known is null.
[[nodiscard]] std::string balance_json(const BalanceView& view);

}  // namespace idlehark
