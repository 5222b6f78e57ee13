/* Made by `python -m rodbench_protocol` from protocol/schema.toml. Do not edit. */
#include "schema.h"

_Static_assert(sizeof(settings_board_t) == SETTINGS_BOARD_SIZE, "packed");
const setting_entry_t setting_entries_board[SETTINGS_BOARD_ENTRIES] CORE_ROM = {
    {1, 1, 0, 4, 0, INT32_C(2147483647), INT32_C(0)}, /* board_id */
    {2, 1, 4, 2, 5000, INT32_C(30000), INT32_C(12000)}, /* supply_nominal_mv */
    {3, 1, 6, 2, 1000, INT32_C(20000), INT32_C(5710)}, /* supply_ratio_x1000 */
    {4, 1, 8, 1, 0, INT32_C(1), INT32_C(0)}, /* supply_calibrated */
    {5, 1, 9, 2, 0, INT32_C(5500), INT32_C(0)}, /* board_5v_mv */
    {6, 1, 11, 2, 0, INT32_C(30000), INT32_C(0)}, /* supply_low_mv */
    {7, 1, 13, 2, 0, INT32_C(36000), INT32_C(0)}, /* supply_high_mv */
    {8, 1, 15, 1, 0, INT32_C(1), INT32_C(0)}, /* stop_input */
    {9, 1, 16, 2, 0, INT32_C(60000), INT32_C(0)}, /* apart_trip_um */
};

_Static_assert(sizeof(settings_axis_t) == SETTINGS_AXIS_SIZE, "packed");
const setting_entry_t setting_entries_axis[SETTINGS_AXIS_ENTRIES] CORE_ROM = {
    {1, 1, 0, 1, 0, INT32_C(2), INT32_C(0)}, /* feedback */
    {2, 1, 1, 1, 0, INT32_C(1), INT32_C(0)}, /* calibrated */
    {3, 1, 2, 1, 0, INT32_C(1), INT32_C(0)}, /* motor_reversed */
    {4, 1, 3, 2, 0, INT32_C(8184), INT32_C(0)}, /* raw_retracted */
    {5, 1, 5, 2, 0, INT32_C(8184), INT32_C(8184)}, /* raw_extended */
    {6, 1, 7, 4, 5000, INT32_C(2000000), INT32_C(100000)}, /* stroke_um */
    {7, 1, 11, 4, 0, INT32_C(2000000), INT32_C(5000)}, /* soft_stop_min_um */
    {8, 1, 15, 4, 0, INT32_C(2000000), INT32_C(95000)}, /* soft_stop_max_um */
    {9, 1, 19, 4, 200, INT32_C(200000), INT32_C(5000)}, /* speed_max_um_s */
    {10, 1, 23, 4, 500, INT32_C(2000000), INT32_C(20000)}, /* acceleration_um_s2 */
    {11, 1, 27, 4, 500, INT32_C(2000000), INT32_C(20000)}, /* deceleration_um_s2 */
    {12, 1, 31, 2, 50, INT32_C(600), INT32_C(300)}, /* creep_output_permille */
    {13, 1, 33, 4, 100, INT32_C(50000), INT32_C(1500)}, /* creep_speed_um_s */
    {14, 1, 37, 2, 100, INT32_C(1000), INT32_C(1000)}, /* output_max_permille */
    {15, 1, 39, 1, 0, INT32_C(1), INT32_C(0)}, /* stop_by */
    {16, 1, 40, 1, 0, INT32_C(3), INT32_C(0)}, /* driver */
    {17, 1, 41, 1, 0, INT32_C(2), INT32_C(1)}, /* current_sensor */
    {18, 1, 42, 2, 10, INT32_C(5000), INT32_C(185)}, /* current_uv_per_ma */
    {19, 1, 44, 2, 0, INT32_C(4092), INT32_C(0)}, /* current_zero */
    {20, 1, 46, 2, 50, INT32_C(30000), INT32_C(1500)}, /* trip_ma */
    {21, 1, 48, 2, 5, INT32_C(2000), INT32_C(50)}, /* trip_ms */
    {22, 1, 50, 2, 50, INT32_C(5000), INT32_C(400)}, /* stall_time_ms */
    {23, 1, 52, 2, 0, INT32_C(30000), INT32_C(0)}, /* running_ma */
    {24, 1, 54, 4, 0, INT32_C(400000), INT32_C(0)}, /* full_speed_extend_um_s */
    {25, 1, 58, 4, 0, INT32_C(400000), INT32_C(0)}, /* full_speed_retract_um_s */
    {26, 1, 62, 2, 0, INT32_C(30000), INT32_C(0)}, /* speed_supply_mv */
    {27, 1, 64, 2, 0, INT32_C(600), INT32_C(100)}, /* dead_zone_extend_permille */
    {28, 1, 66, 2, 0, INT32_C(600), INT32_C(100)}, /* dead_zone_retract_permille */
    {29, 1, 68, 2, 0, INT32_C(60000), INT32_C(2000)}, /* run_on_extend_um */
    {30, 1, 70, 2, 0, INT32_C(60000), INT32_C(2000)}, /* run_on_retract_um */
    {31, 1, 72, 2, 0, INT32_C(3200), INT32_C(48)}, /* noise_x16 */
    {32, 1, 74, 2, 10, INT32_C(1000), INT32_C(250)}, /* duty_share_permille */
    {33, 1, 76, 2, 60, INT32_C(7200), INT32_C(1200)}, /* duty_window_s */
    {34, 1, 78, 2, 4, INT32_C(2000), INT32_C(40)}, /* pot_margin_raw */
    {35, 1, 80, 2, 100, INT32_C(2000), INT32_C(500)}, /* move_hold_ms */
    {36, 1, 82, 2, 0, INT32_C(60000), INT32_C(0)}, /* stall_ma */
    {37, 1, 84, 1, 0, INT32_C(0), INT32_C(0)}, /* table_points */
    {38, 8, 85, 2, 0, INT32_C(8184), INT32_C(0)}, /* table_raw */
    {46, 8, 101, 2, 0, INT32_C(65535), INT32_C(0)}, /* table_place */
    {54, 1, 117, 1, 0, INT32_C(1), INT32_C(0)}, /* current_sensor_ratiometric */
    {55, 1, 118, 2, 0, INT32_C(60000), INT32_C(0)}, /* stroke_time_extend_cs */
    {56, 1, 120, 2, 0, INT32_C(60000), INT32_C(0)}, /* stroke_time_retract_cs */
    {57, 1, 122, 2, 0, INT32_C(60000), INT32_C(0)}, /* following_um */
    {58, 1, 124, 2, 0, INT32_C(30000), INT32_C(0)}, /* fold_back_ma */
    {59, 1, 126, 2, 0, INT32_C(30000), INT32_C(0)}, /* rated_ma */
    {60, 1, 128, 2, 10, INT32_C(7200), INT32_C(300)}, /* thermal_time_s */
    {61, 1, 130, 1, 10, INT32_C(250), INT32_C(80)}, /* thermal_warn_percent */
    {62, 1, 131, 1, 20, INT32_C(250), INT32_C(110)}, /* thermal_trip_percent */
    {63, 1, 132, 1, 0, INT32_C(3), INT32_C(0)}, /* local_source */
    {64, 1, 133, 1, 0, INT32_C(1), INT32_C(0)}, /* local_as */
    {65, 1, 134, 2, 0, INT32_C(4095), INT32_C(1000)}, /* local_low_end */
    {66, 1, 136, 2, 0, INT32_C(4095), INT32_C(1500)}, /* local_rest */
    {67, 1, 138, 2, 2, INT32_C(1000), INT32_C(40)}, /* local_rest_band */
    {68, 1, 140, 2, 0, INT32_C(4095), INT32_C(2000)}, /* local_high_end */
    {69, 1, 142, 2, 0, INT32_C(65535), INT32_C(0)}, /* local_place_retract */
    {70, 1, 144, 2, 0, INT32_C(65535), INT32_C(65535)}, /* local_place_extend */
    {71, 1, 146, 2, 30, INT32_C(1000), INT32_C(100)}, /* local_loss_ms */
};

static int rule_abs_16(int a)
{
    return a < 0 ? -a : a;
}

uint16_t rule_check_board(const settings_board_t *s)
{
    if (!(((int16_t)s->board_5v_mv == INT16_C(0)) || ((int32_t)s->board_5v_mv >= (((int32_t)CORE_REFERENCE_MV * INT32_C(22)) / INT32_C(25))))) { return 3333u; } /* reference_within_reach */
    if (!((int16_t)s->supply_low_mv < (int16_t)s->supply_nominal_mv)) { return 4102u; } /* supply_low_below_nominal */
    if (!(((int32_t)s->supply_high_mv == INT32_C(0)) || ((int32_t)s->supply_high_mv > (int32_t)s->supply_nominal_mv))) { return 4359u; } /* supply_high_above_nominal */
    return 0;
}

uint16_t change_check_board(const settings_board_t *live, const settings_board_t *s)
{
    (void)live;
    (void)s;
    return 0;
}

uint16_t rule_check_axis(const settings_axis_t *s)
{
    if (!(!(((int16_t)s->feedback == INT16_C(1)) && ((int16_t)s->calibrated == INT16_C(1))) || (rule_abs_16(((int16_t)s->raw_extended - (int16_t)s->raw_retracted)) >= INT16_C(400)))) { return 261u; } /* endpoints_apart */
    if (!(!((int16_t)s->calibrated == INT16_C(1)) || (((int32_t)s->soft_stop_max_um - (int32_t)s->soft_stop_min_um) >= INT32_C(1000)))) { return 519u; } /* soft_stops_in_order */
    if (!(!((int16_t)s->calibrated == INT16_C(1)) || ((int32_t)s->soft_stop_max_um <= (int32_t)s->stroke_um))) { return 776u; } /* soft_stops_inside_stroke */
    if (!(!((int16_t)s->calibrated == INT16_C(1)) || ((int16_t)s->feedback == INT16_C(1)))) { return 1026u; } /* calibrated_needs_feedback */
    if (!((int16_t)s->creep_output_permille <= (int16_t)s->output_max_permille)) { return 1292u; } /* creep_below_ceiling */
    if (!(!((int16_t)s->calibrated == INT16_C(1)) || ((int32_t)s->creep_speed_um_s <= ((int32_t)s->speed_max_um_s * INT32_C(2))))) { return 1549u; } /* creep_below_speed_max */
    if (!(!(((int16_t)s->current_sensor != INT16_C(0)) && ((int16_t)s->running_ma > INT16_C(0))) || ((int16_t)s->trip_ma > (int16_t)s->running_ma))) { return 1812u; } /* trip_above_running */
    if (!(!((int16_t)s->current_sensor == INT16_C(1)) || ((((int32_t)s->trip_ma * (int32_t)s->current_uv_per_ma) / INT32_C(1000)) <= ((((int32_t)CORE_REFERENCE_MV * INT32_C(43)) / INT32_C(50)) - (((int32_t)s->current_zero * (int32_t)CORE_REFERENCE_MV) / (int32_t)CORE_CURRENT_FULL_SCALE))))) { return 2068u; } /* trip_within_sensor */
    if (!(!((int16_t)s->calibrated == INT16_C(1)) || (((int32_t)s->run_on_extend_um < ((int32_t)s->soft_stop_max_um - (int32_t)s->soft_stop_min_um)) && ((int32_t)s->run_on_retract_um < ((int32_t)s->soft_stop_max_um - (int32_t)s->soft_stop_min_um))))) { return 2312u; } /* stops_before_run_on */
    if (!(!(((int16_t)s->feedback == INT16_C(1)) && ((int16_t)s->calibrated == INT16_C(1))) || (((int16_t)s->raw_retracted >= (int16_t)s->pot_margin_raw) && ((int16_t)s->raw_extended >= (int16_t)s->pot_margin_raw) && ((int16_t)s->raw_retracted <= ((int16_t)CORE_FULL_SCALE - (int16_t)s->pot_margin_raw)) && ((int16_t)s->raw_extended <= ((int16_t)CORE_FULL_SCALE - (int16_t)s->pot_margin_raw))))) { return 2594u; } /* endpoints_inside_scale */
    if (!(!((int16_t)s->calibrated == INT16_C(1)) || (((int32_t)s->speed_max_um_s <= ((int32_t)s->deceleration_um_s2 * INT32_C(5))) && ((int32_t)s->creep_speed_um_s <= ((int32_t)s->deceleration_um_s2 * INT32_C(5)))))) { return 3083u; } /* ramp_down_within_reach */
    if (!(!((int16_t)s->current_sensor == INT16_C(2)) || ((((((int32_t)s->trip_ma * (int32_t)s->current_uv_per_ma) / INT32_C(1000)) + (((int32_t)CORE_REFERENCE_MV * INT32_C(3)) / INT32_C(50))) <= (((int32_t)s->current_zero * (int32_t)CORE_REFERENCE_MV) / (int32_t)CORE_CURRENT_FULL_SCALE)) && ((((int32_t)s->trip_ma * (int32_t)s->current_uv_per_ma) / INT32_C(1000)) <= ((((int32_t)CORE_REFERENCE_MV * INT32_C(47)) / INT32_C(50)) - (((int32_t)s->current_zero * (int32_t)CORE_REFERENCE_MV) / (int32_t)CORE_CURRENT_FULL_SCALE)))))) { return 3604u; } /* centred_within_sensor */
    if (!(!((int16_t)s->fold_back_ma > INT16_C(0)) || (((int16_t)s->current_sensor != INT16_C(0)) && ((int16_t)s->fold_back_ma < (int16_t)s->trip_ma) && ((int16_t)s->fold_back_ma > (int16_t)s->running_ma)))) { return 4666u; } /* fold_back_between */
    if (!((int16_t)s->thermal_warn_percent < (int16_t)s->thermal_trip_percent)) { return 4925u; } /* warn_below_trip */
    if (!(!((int16_t)s->rated_ma > INT16_C(0)) || ((int16_t)s->current_sensor != INT16_C(0)))) { return 5179u; } /* thermal_needs_current */
    if (!(!((int16_t)s->local_source >= INT16_C(2)) || (((((int16_t)s->local_low_end + (int16_t)s->local_rest_band) < (int16_t)s->local_rest) && (((int16_t)s->local_rest + (int16_t)s->local_rest_band) < (int16_t)s->local_high_end)) || ((((int16_t)s->local_high_end + (int16_t)s->local_rest_band) < (int16_t)s->local_rest) && (((int16_t)s->local_rest + (int16_t)s->local_rest_band) < (int16_t)s->local_low_end))))) { return 5442u; } /* local_ends_in_order */
    if (!(!(((int16_t)s->local_source > INT16_C(0)) && ((int16_t)s->local_as == INT16_C(1))) || ((int16_t)s->feedback == INT16_C(1)))) { return 5696u; } /* local_place_needs_pot */
    return 0;
}

uint16_t change_check_axis(const settings_axis_t *live, const settings_axis_t *s)
{
    if (!(!(((int16_t)s->calibrated == INT16_C(1)) && ((int16_t)live->calibrated == INT16_C(1))) || (((int16_t)s->feedback == (int16_t)live->feedback) && ((int16_t)s->motor_reversed == (int16_t)live->motor_reversed) && ((int16_t)s->raw_retracted == (int16_t)live->raw_retracted) && ((int16_t)s->raw_extended == (int16_t)live->raw_extended) && ((int32_t)s->stroke_um == (int32_t)live->stroke_um)))) { return 2818u; } /* recalibrate_through_uncalibrated */
    return 0;
}

uint16_t peer_check_axis(uint8_t axis, const settings_axis_t *other, const settings_axis_t *s)
{
    if (!(!((int16_t)s->feedback != INT16_C(0)) || ((((int16_t)s->driver != INT16_C(2)) || ((int16_t)axis == INT16_C(1))) && (((int16_t)other->feedback == INT16_C(0)) || (((int16_t)s->driver != INT16_C(2)) && ((int16_t)other->driver != INT16_C(2))))))) { return 3856u; } /* pwm_pins_for_one */
    return 0;
}
