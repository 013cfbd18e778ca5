#include "gui/plots/orders_pane.hpp"

#include "dsp/track/order_rows.hpp"

namespace idlehark::gui {

namespace {
constexpr std::size_t kRows = 160;
}

/// Takes up the rows that are new since the last look; starts afresh with another sound or engine.
void OrdersPane::follow(const ViewState& view) {
    if (view.orders.empty()) {
        fall_.reset();
        return;
    }
    const double firing = firing_frequency(view.engine, Rpm{60.0}).value;
    const auto columns = view.orders.back()->level_db.size();
    if (!fall_ || columns != columns_ || firing != firing_order_ || view.orders.back()->time_s < newest_s_) {
        fall_.emplace(columns, OrderRowsConfig{}.highest_firings * firing, kRows);
        columns_ = columns;
        firing_order_ = firing;
        newest_s_ = -1.0;
    }
    for (const auto& row : view.orders)
        if (row->time_s > newest_s_) {
            fall_->add(row->level_db);
            newest_s_ = row->time_s;
        }
}

void OrdersPane::draw(Canvas& canvas, const ViewState& view, const Box& on, const Say& say) {
    follow(view);
    canvas.box(on, palette::kPaper);
    const double pad = canvas.px(14.0);
    canvas.text({on.x + pad, on.y + canvas.px(26.0)},
                canvas.fitted(say.title, on.w - 2.0 * pad, Sizes::kStrongText, true),
                {.size = Sizes::kStrongText, .bold = true});
    double y = on.y + canvas.px(48.0);
    for (const auto& line : canvas.wrapped(say.how, on.w - 2.0 * pad, Sizes::kText, false, 3)) {
        canvas.text({on.x + pad, y}, line, {});
        y += canvas.px(22.0);
    }
    const Box plot{on.x + pad, y, on.w - 2.0 * pad, on.bottom() - y - canvas.px(10.0)};
    if (plot.h < canvas.px(40.0)) return;
    if (!fall_) {
        canvas.text_middle(plot.middle(), canvas.fitted(say.empty, plot.w, Sizes::kText),
                           {.colour = palette::kFaintInk, .align = Align::middle});
        return;
    }
    fall_->draw(canvas, plot, firing_order_, view.sound.locked);
}

}  // namespace idlehark::gui
