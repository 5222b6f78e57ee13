/* Made by `python -m rodbench_protocol` from protocol/schema.toml. Do not edit. */
#ifndef RODBENCH_SCHEMA_H
#define RODBENCH_SCHEMA_H

#include <stdint.h>
#include "../core/port.h"

#define PROTOCOL_MAJOR 1u
#define PROTOCOL_MINOR 2u
#define FRAME_MAX 64u
#define REPLY_FLAG 128u
#define TICK_US 5000u
#define PROTOCOL_BAUD UINT32_C(250000)
#define ALIVE_PERIOD_MS 50u
#define HOLD_MS 250u
#define REPLY_TIMEOUT_MS 150u
#define TRIES 3u
#define STOP_FRAME_MAX 16u
#define SCHEMA_DIGEST UINT32_C(0xF3951E28)
#define HEADER_SIZE 3u
#define BODY_MAX 59u

#define ATMEGA328P_5V_ID 1u
#define ATMEGA328P_5V_AXIS_COUNT 2u
#define ATMEGA328P_5V_ADC_FULL_SCALE 8184u
#define ATMEGA328P_5V_ADC_REFERENCE_MV 5000u
#define ATMEGA328P_5V_CURRENT_FULL_SCALE 4092u
#define ATMEGA328P_5V_SUPPLY_FULL_SCALE 1023u
#define POSIX_3V3_ID 2u
#define POSIX_3V3_AXIS_COUNT 1u
#define POSIX_3V3_ADC_FULL_SCALE 8190u
#define POSIX_3V3_ADC_REFERENCE_MV 3300u
#define POSIX_3V3_CURRENT_FULL_SCALE 4095u
#define POSIX_3V3_SUPPLY_FULL_SCALE 4095u

/* Why a request was, or was not, carried out. Anything but ok: nothing changed. */
#define STATUS_OK 0u /* done */
#define STATUS_MALFORMED 1u /* the body is shorter than the message's first version, or a list is cut off */
#define STATUS_UNKNOWN_MESSAGE 2u /* no such message id here */
#define STATUS_NO_SESSION 3u /* the frame's session is not the open one */
#define STATUS_SEQUENCE 4u /* neither the next sequence number nor a repeat of the last */
#define STATUS_WRONG_NONCE 5u /* open named another boot */
#define STATUS_PROTOCOL_MAJOR 6u /* the host speaks another protocol major */
#define STATUS_BAD_VALUE 7u /* a field of the request lies outside its range; detail is the field's place, from 1 */
#define STATUS_UNKNOWN_SETTING 8u /* no such key in this scope; detail is the key */
#define STATUS_SETTING_RANGE 9u /* a value outside the key's range; detail is the key */
#define STATUS_CROSS_RULE 10u /* keys contradict each other; detail is the key, and the rule in its high byte */
#define STATUS_NO_DRAFT 11u /* no draft is open for this scope */
#define STATUS_IN_MOTION 12u /* an axis concerned is moving, or its output is on */
#define STATUS_FAULTED 13u /* a latched fault stands; detail is the fault's number */
#define STATUS_NOT_FITTED 14u /* this axis has no rod in the settings */
#define STATUS_UNCALIBRATED 15u /* this needs a calibrated axis */
#define STATUS_CALIBRATED 16u /* this is for an uncalibrated axis only */
#define STATUS_OUTSIDE 17u /* the target, or the way there, lies outside the soft stops */
#define STATUS_DUTY_SPENT 18u /* the duty budget does not allow a start; from minor 2 on detail is the wait in s until it would, 65535: never, it is longer than the whole budget */
#define STATUS_BUSY 19u /* a store is under way */
#define STATUS_NOT_SUPPORTED 20u /* known, but not by this board or this build */
#define STATUS_SESSION_IN_USE 21u /* open asked for a session of the last four: choose another number */
#define STATUS_STOP_STANDING 22u /* a stop is being carried out: try when the output is 0 */
#define STATUS_GANGED 23u /* this moves one rod alone, and the two move as one */
#define STATUS_LOCAL_CONTROL 24u /* a local input commands this axis: hand it over first */
#define STATUS_NOTHING_KEPT 25u /* there is no such record; or off-time was told already, or does not matter */
#define STATUS_LAST 25u

/* Kinds of board; the table [board_kinds] has their figures. */
#define BOARD_KIND_ATMEGA328P_5V 1u /* ATmega328P at 16 MHz and 5 V, two axes */
#define BOARD_KIND_POSIX_3V3 2u /* the core as a POSIX process: 12-bit converter, 3.3 V, one axis */
#define BOARD_KIND_LAST 2u

/* Why the board started. */
#define RESET_CAUSE_UNKNOWN 0u /* no record and no flags (a bootloader cleared them) */
#define RESET_CAUSE_POWER_ON 1u /* power came on, or the RAM record did not survive */
#define RESET_CAUSE_EXTERNAL 2u /* the reset line: the button, or a computer opening the port */
#define RESET_CAUSE_BROWN_OUT 3u /* the board's own supply dipped */
#define RESET_CAUSE_WATCHDOG 4u /* the watchdog: a tick did not pass in time */
#define RESET_CAUSE_RESTART 5u /* asked for by the host */
#define RESET_CAUSE_ASSERTION 6u /* a check inside the firmware failed */
#define RESET_CAUSE_LAST 6u

/* What an axis is doing. */
#define AXIS_STATE_NOT_FITTED 0u /* no rod on this axis */
#define AXIS_STATE_IDLE 1u /* no motion commanded, output 0 */
#define AXIS_STATE_JOG 2u /* hold-to-run at a speed, or at a capped output while uncalibrated */
#define AXIS_STATE_RUN 3u /* hold-to-run at an output, for measuring */
#define AXIS_STATE_SEEK 4u /* creeping to an end */
#define AXIS_STATE_PROBE 5u /* at an end: raised output, to see how it answers */
#define AXIS_STATE_MOVE 6u /* going to a position, or looking whether it rests there */
#define AXIS_STATE_STOPPING 7u /* slowing down by a ramp, or at output 0 until rest is seen */
#define AXIS_STATE_FAULT 8u /* a latched fault: no motion until cleared */
#define AXIS_STATE_LAST 8u

/* What the H-bridge is told. */
#define BRIDGE_OFF 0u /* disabled: the motor coasts */
#define BRIDGE_BRAKE 1u /* the motor is shorted by the bridge */
#define BRIDGE_DRIVE 2u /* output as commanded */
#define BRIDGE_LAST 2u

/* What happened. Events are not latched; a trip event names a fault that is. */
#define EVENT_KIND_BOOT 1u /* the board started; cause is the reset cause */
#define EVENT_KIND_TRIP 2u /* a fault was latched; cause is the fault's number */
#define EVENT_KIND_MOTION_ENDED 3u /* a motion has ended; cause is how (enum ended) */
#define EVENT_KIND_SOFT_STOP 4u /* a soft stop ended or held back a motion */
#define EVENT_KIND_DUTY_SPENT 5u /* the duty budget ended a motion */
#define EVENT_KIND_END_FOUND 6u /* seek reached an end; value_a current before, value_b current in the probe, mA */
#define EVENT_KIND_STORED 7u /* a store ended; value_a is the generation, cause 0 good, 1 failed */
#define EVENT_KIND_CLEARED 8u /* faults were cleared on request; value_a are those that stood */
#define EVENT_KIND_LATE_TICK 9u /* a tick did not end before the next began */
#define EVENT_KIND_ARMED 10u /* the local input was seen at rest: from now on it commands the axis */
#define EVENT_KIND_SOURCE_LOST 11u /* the local input is lost: pulse missing, or outside its ends */
#define EVENT_KIND_HANDED_OVER 12u /* another commands the axis; cause is who (enum commander) */
#define EVENT_KIND_FOLD_BACK 13u /* the current reached fold_back_ma: the output is taken back, once told per motion */
#define EVENT_KIND_WARM 14u /* the thermal estimate has reached its warning level; told again once it was 1 % below */
#define EVENT_KIND_LAST 14u

/* How the last motion of an axis ended. */
#define ENDED_NONE 0u /* no motion since the start of the board */
#define ENDED_RUNNING 1u /* not ended yet */
#define ENDED_REACHED 2u /* a move came to rest at its target */
#define ENDED_END_FOUND 3u /* seek found an end, or a jog by output lost current and motion after it had moved */
#define ENDED_STOPPED 4u /* a stop was asked for */
#define ENDED_SILENCE 5u /* the hold was over; of a move the fault move_silence stands too */
#define ENDED_SOFT_STOP 6u /* a soft stop was reached */
#define ENDED_DUTY 7u /* the duty budget was spent */
#define ENDED_FAULT 8u /* a guard tripped */
#define ENDED_REPLACED 9u /* another motion took its place */
#define ENDED_SESSION 10u /* a host opened a new session */
#define ENDED_UNFINISHED 11u /* a move rests too far from its target, or a jog by output never drew current nor moved */
#define ENDED_GANG 12u /* the other rod of the gang has stopped */
#define ENDED_LAST 12u

/* Latched faults, numbered from 1; bit (number - 1) in every faults field. Numbers to 32 are for an axis and the board alike. */
#define FAULT_OVER_CURRENT 1u /* current above the trip for the trip time */
#define FAULT_STALL 2u /* output without motion, current high */
#define FAULT_NO_CURRENT 3u /* output without motion, hardly any current: motor lead, end switch or driver */
#define FAULT_POT_NOT_FOLLOWING 4u /* output without motion at a normal current: the pot does not follow, or the rod is free of it */
#define FAULT_POT_BAND 5u /* the pot reads past its endpoints; before minor 2 also open or shorted */
#define FAULT_WRONG_WAY 6u /* the pot moved against the commanded direction */
#define FAULT_MOVE_SILENCE 7u /* the host fell silent during a move */
#define FAULT_WATCHDOG 8u /* the watchdog restarted the board */
#define FAULT_SETTINGS 9u /* both stored copies of the settings are damaged: defaults are in force */
#define FAULT_ASSERTION 10u /* a check inside the firmware failed: outputs off */
#define FAULT_NO_END 11u /* a run to an end took 1.2 times its measured time, and no end was seen */
#define FAULT_POT_OPEN 12u /* the pot reads close to 0: wiper or feed off, or shorted to ground */
#define FAULT_POT_SHORT 13u /* the pot reads close to full scale: wiper shorted to the feed, or its ground off */
#define FAULT_POT_JUMP 14u /* the pot jumped further than the rod can go */
#define FAULT_MOVING_OFF 15u /* the rod moves although its output is off: pushed by its load, or a driver that is stuck */
#define FAULT_FOLLOWING 16u /* the rod fell behind its reference by more than following_um */
#define FAULT_THERMAL 17u /* the thermal estimate has reached its trip level */
#define FAULT_SUPPLY_LOW 18u /* the motor supply is below supply_low_mv */
#define FAULT_SUPPLY_HIGH 19u /* the motor supply is above supply_high_mv */
#define FAULT_STOP_INPUT 20u /* the stop input is open */
#define FAULT_APART 21u /* two ganged rods came further apart than apart_trip_um */
#define FAULT_LATE_TICK 22u /* ticks ended late, three within a second */
#define FAULT_LAST 22u

/* How the stop input is wired. It is no emergency stop: that cuts motor power in hardware. */
#define STOP_INPUT_NOT_WIRED 0u /* not read */
#define STOP_INPUT_NORMALLY_CLOSED 1u /* closed to ground in normal work; open stops both axes */
#define STOP_INPUT_LAST 1u

/* Who commands an axis. */
#define COMMANDER_HOST 0u /* the host with the open session */
#define COMMANDER_LOCAL 1u /* the axis's local input, once armed */
#define COMMANDER_LAST 1u

/* What an axis is commanded by without a computer. */
#define LOCAL_SOURCE_NONE 0u /* nothing: the host alone */
#define LOCAL_SOURCE_BUTTONS 1u /* two buttons to ground, extend and retract */
#define LOCAL_SOURCE_STICK 2u /* an analog stick or knob on the axis's stick input */
#define LOCAL_SOURCE_PULSE 3u /* a servo pulse, 1.0 to 2.0 ms at 50 Hz, on the extend input */
#define LOCAL_SOURCE_LAST 3u

/* What a local input means. */
#define LOCAL_AS_SPEED 0u /* how fast, hold-to-run: nothing while it rests */
#define LOCAL_AS_POSITION 1u /* where to: buttons name two places, stick and pulse a place between the two */
#define LOCAL_AS_LAST 1u

/* What tells the position. */
#define FEEDBACK_NOT_FITTED 0u /* no rod here */
#define FEEDBACK_POT 1u /* a potentiometer, fed from the board's own supply */
#define FEEDBACK_NONE 2u /* two wires: nothing tells the position */
#define FEEDBACK_LAST 2u

/* How the bridge rests at output 0. */
#define STOP_BY_BRAKE 0u /* motor shorted */
#define STOP_BY_COAST 1u /* bridge off; no promise at soft stops */
#define STOP_BY_LAST 1u

/* How the H-bridge is wired. */
#define DRIVER_PWM_AND_TWO_DIRECTION_LINES 0u /* enable by PWM, two direction lines */
#define DRIVER_PWM_AND_ONE_DIRECTION_LINE 1u /* PWM and one direction line; off and brake are both PWM 0: coast or brake, as the bridge does */
#define DRIVER_TWO_PWM_INPUTS 2u /* two inputs, both on PWM pins: coasts between pulses; axis 1 alone */
#define DRIVER_PWM_INPUT_AND_LINE 3u /* two inputs, one on the PWM pin, one on direction line A: one way coasts between pulses, the other brakes */
#define DRIVER_LAST 3u

/* What measures the motor current. */
#define CURRENT_SENSOR_NONE 0u /* not fitted: current guards are absent */
#define CURRENT_SENSOR_ONE_SIDED 1u /* output rises with current of either direction */
#define CURRENT_SENSOR_CENTRED 2u /* rests near the middle, rises with current of one direction and falls with the other; the board takes the size */
#define CURRENT_SENSOR_LAST 2u

/* Which copy of the settings. */
#define WHICH_LIVE 0u /* in force now */
#define WHICH_DRAFT 1u /* being written */
#define WHICH_LAST 1u

/* What a jog's value means. */
#define JOG_UNIT_OUTPUT 0u /* permille of full, uncalibrated axis only, capped at creep_output */
#define JOG_UNIT_SPEED 1u /* um/s, calibrated axis only */
#define JOG_UNIT_LAST 1u

/* What a board can do. As bits. */
#define FEATURES_TWO_AXES 1u
#define FEATURES_CURRENT_SENSE 2u
#define FEATURES_SUPPLY_SENSE 4u
#define FEATURES_LOCAL_CONTROL 8u
#define FEATURES_TRIP_LOG 16u
#define FEATURES_BLACK_BOX 32u
#define FEATURES_GANG 64u

/* Axis flags in telemetry. As bits. */
#define AXIS_FLAGS_CALIBRATED 1u
#define AXIS_FLAGS_PROVEN 2u
#define AXIS_FLAGS_OUTSIDE 4u
#define AXIS_FLAGS_HELD_BACK 8u
#define AXIS_FLAGS_BRAKING 16u
#define AXIS_FLAGS_NEAR_RETRACTED 32u
#define AXIS_FLAGS_NEAR_EXTENDED 64u
#define AXIS_FLAGS_BETWEEN 128u

/* More axis flags in telemetry. As bits. */
#define AXIS_ALSO_LOCAL 1u
#define AXIS_ALSO_ARMED 2u
#define AXIS_ALSO_SOURCE_LOST 4u
#define AXIS_ALSO_GANGED 8u
#define AXIS_ALSO_FOLDED_BACK 16u
#define AXIS_ALSO_WARM 32u

/* The board's inputs; 1: closed to ground. As bits. */
#define INPUTS_STOP 1u
#define INPUTS_EXTEND_1 2u
#define INPUTS_RETRACT_1 4u
#define INPUTS_EXTEND_2 8u
#define INPUTS_RETRACT_2 16u

/* Latched faults, numbered from 1; bit (number - 1) in every faults field. Numbers to 32 are for an axis and the board alike. As bits. */
#define FAULT_OVER_CURRENT_BIT 1u
#define FAULT_STALL_BIT 2u
#define FAULT_NO_CURRENT_BIT 4u
#define FAULT_POT_NOT_FOLLOWING_BIT 8u
#define FAULT_POT_BAND_BIT 16u
#define FAULT_WRONG_WAY_BIT 32u
#define FAULT_MOVE_SILENCE_BIT 64u
#define FAULT_WATCHDOG_BIT 128u
#define FAULT_SETTINGS_BIT 256u
#define FAULT_ASSERTION_BIT 512u
#define FAULT_NO_END_BIT 1024u
#define FAULT_POT_OPEN_BIT 2048u
#define FAULT_POT_SHORT_BIT 4096u
#define FAULT_POT_JUMP_BIT 8192u
#define FAULT_MOVING_OFF_BIT 16384u
#define FAULT_FOLLOWING_BIT 32768u
#define FAULT_THERMAL_BIT UINT32_C(65536)
#define FAULT_SUPPLY_LOW_BIT UINT32_C(131072)
#define FAULT_SUPPLY_HIGH_BIT UINT32_C(262144)
#define FAULT_STOP_INPUT_BIT UINT32_C(524288)
#define FAULT_APART_BIT UINT32_C(1048576)
#define FAULT_LATE_TICK_BIT UINT32_C(2097152)

/* hello, request. Offsets count from the body's first byte. */
#define MSG_HELLO 0x01u
#define HELLO_BODY_MIN 0u
#define HELLO_BODY_SIZE 0u
#define HELLO_REPLY_TICK_AT 0u
#define HELLO_REPLY_STATUS_AT 4u
#define HELLO_REPLY_DETAIL_AT 5u
#define HELLO_REPLY_PROTOCOL_MAJOR_AT 7u
#define HELLO_REPLY_PROTOCOL_MINOR_AT 8u
#define HELLO_REPLY_SCHEMA_DIGEST_AT 9u
#define HELLO_REPLY_BOOT_NONCE_AT 13u
#define HELLO_REPLY_FIRMWARE_MAJOR_AT 15u
#define HELLO_REPLY_FIRMWARE_MINOR_AT 16u
#define HELLO_REPLY_FIRMWARE_PATCH_AT 17u
#define HELLO_REPLY_BOARD_KIND_AT 18u
#define HELLO_REPLY_AXIS_COUNT_AT 19u
#define HELLO_REPLY_FEATURES_AT 20u
#define HELLO_REPLY_RESET_CAUSE_AT 22u
#define HELLO_REPLY_ADC_FULL_SCALE_AT 23u
#define HELLO_REPLY_ADC_REFERENCE_MV_AT 25u
#define HELLO_REPLY_BOARD_ID_AT 27u
#define HELLO_REPLY_DIGEST_LIVE_AT 31u
#define HELLO_REPLY_DIGEST_STORED_AT 35u
#define HELLO_REPLY_NAME_AT 39u
#define HELLO_REPLY_NAME_SIZE 10u
#define HELLO_REPLY_CURRENT_FULL_SCALE_AT 49u
#define HELLO_REPLY_BODY_MIN 49u
#define HELLO_REPLY_BODY_SIZE 51u

/* open, request. Offsets count from the body's first byte. */
#define MSG_OPEN 0x02u
#define OPEN_BOOT_NONCE_AT 0u
#define OPEN_PROTOCOL_MAJOR_AT 2u
#define OPEN_PROTOCOL_MINOR_AT 3u
#define OPEN_BODY_MIN 4u
#define OPEN_BODY_SIZE 4u
#define OPEN_REPLY_TICK_AT 0u
#define OPEN_REPLY_STATUS_AT 4u
#define OPEN_REPLY_DETAIL_AT 5u
#define OPEN_REPLY_BODY_MIN 7u
#define OPEN_REPLY_BODY_SIZE 7u

/* counters, request. Offsets count from the body's first byte. */
#define MSG_COUNTERS 0x03u
#define COUNTERS_BODY_MIN 0u
#define COUNTERS_BODY_SIZE 0u
#define COUNTERS_REPLY_TICK_AT 0u
#define COUNTERS_REPLY_STATUS_AT 4u
#define COUNTERS_REPLY_DETAIL_AT 5u
#define COUNTERS_REPLY_REQUESTS_DONE_AT 7u
#define COUNTERS_REPLY_FRAMES_GOOD_AT 11u
#define COUNTERS_REPLY_FRAMES_BAD_AT 15u
#define COUNTERS_REPLY_FRAMES_DROPPED_AT 17u
#define COUNTERS_REPLY_REPEATS_AT 19u
#define COUNTERS_REPLY_ALIVE_IGNORED_AT 21u
#define COUNTERS_REPLY_UNASKED_DROPPED_AT 23u
#define COUNTERS_REPLY_LATE_TICKS_AT 25u
#define COUNTERS_REPLY_WORST_TICK_US_AT 27u
#define COUNTERS_REPLY_BODY_MIN 29u
#define COUNTERS_REPLY_BODY_SIZE 29u

/* stop, request. Offsets count from the body's first byte. */
#define MSG_STOP 0x10u
#define STOP_AXIS_AT 0u
#define STOP_CATEGORY_AT 1u
#define STOP_BODY_MIN 2u
#define STOP_BODY_SIZE 2u
#define STOP_REPLY_TICK_AT 0u
#define STOP_REPLY_STATUS_AT 4u
#define STOP_REPLY_DETAIL_AT 5u
#define STOP_REPLY_BODY_MIN 7u
#define STOP_REPLY_BODY_SIZE 7u

/* clear, request. Offsets count from the body's first byte. */
#define MSG_CLEAR 0x11u
#define CLEAR_AXIS_AT 0u
#define CLEAR_BODY_MIN 1u
#define CLEAR_BODY_SIZE 1u
#define CLEAR_REPLY_TICK_AT 0u
#define CLEAR_REPLY_STATUS_AT 4u
#define CLEAR_REPLY_DETAIL_AT 5u
#define CLEAR_REPLY_CLEARED_AT 7u
#define CLEAR_REPLY_BODY_MIN 11u
#define CLEAR_REPLY_BODY_SIZE 11u

/* jog, request. Offsets count from the body's first byte. */
#define MSG_JOG 0x12u
#define JOG_AXIS_AT 0u
#define JOG_UNIT_AT 1u
#define JOG_VALUE_AT 2u
#define JOG_BODY_MIN 6u
#define JOG_BODY_SIZE 6u
#define JOG_REPLY_TICK_AT 0u
#define JOG_REPLY_STATUS_AT 4u
#define JOG_REPLY_DETAIL_AT 5u
#define JOG_REPLY_MOTION_AT 7u
#define JOG_REPLY_BODY_MIN 9u
#define JOG_REPLY_BODY_SIZE 9u

/* run, request. Offsets count from the body's first byte. */
#define MSG_RUN 0x13u
#define RUN_AXIS_AT 0u
#define RUN_OUTPUT_PERMILLE_AT 1u
#define RUN_BODY_MIN 3u
#define RUN_BODY_SIZE 3u
#define RUN_REPLY_TICK_AT 0u
#define RUN_REPLY_STATUS_AT 4u
#define RUN_REPLY_DETAIL_AT 5u
#define RUN_REPLY_MOTION_AT 7u
#define RUN_REPLY_BODY_MIN 9u
#define RUN_REPLY_BODY_SIZE 9u

/* seek, request. Offsets count from the body's first byte. */
#define MSG_SEEK 0x14u
#define SEEK_AXIS_AT 0u
#define SEEK_DIRECTION_AT 1u
#define SEEK_BODY_MIN 2u
#define SEEK_BODY_SIZE 2u
#define SEEK_REPLY_TICK_AT 0u
#define SEEK_REPLY_STATUS_AT 4u
#define SEEK_REPLY_DETAIL_AT 5u
#define SEEK_REPLY_MOTION_AT 7u
#define SEEK_REPLY_BODY_MIN 9u
#define SEEK_REPLY_BODY_SIZE 9u

/* move, request. Offsets count from the body's first byte. */
#define MSG_MOVE 0x15u
#define MOVE_AXIS_AT 0u
#define MOVE_TARGET_UM_AT 1u
#define MOVE_SPEED_UM_S_AT 5u
#define MOVE_BODY_MIN 9u
#define MOVE_BODY_SIZE 9u
#define MOVE_REPLY_TICK_AT 0u
#define MOVE_REPLY_STATUS_AT 4u
#define MOVE_REPLY_DETAIL_AT 5u
#define MOVE_REPLY_MOTION_AT 7u
#define MOVE_REPLY_BODY_MIN 9u
#define MOVE_REPLY_BODY_SIZE 9u

/* outcome, request. Offsets count from the body's first byte. */
#define MSG_OUTCOME 0x16u
#define OUTCOME_AXIS_AT 0u
#define OUTCOME_BODY_MIN 1u
#define OUTCOME_BODY_SIZE 1u
#define OUTCOME_REPLY_TICK_AT 0u
#define OUTCOME_REPLY_STATUS_AT 4u
#define OUTCOME_REPLY_DETAIL_AT 5u
#define OUTCOME_REPLY_AXIS_AT 7u
#define OUTCOME_REPLY_MOTION_AT 8u
#define OUTCOME_REPLY_ENDED_AT 10u
#define OUTCOME_REPLY_CAUSE_AT 11u
#define OUTCOME_REPLY_RAW_AT 12u
#define OUTCOME_REPLY_POSITION_UM_AT 14u
#define OUTCOME_REPLY_CURRENT_BEFORE_MA_AT 18u
#define OUTCOME_REPLY_CURRENT_STOP_MA_AT 20u
#define OUTCOME_REPLY_CURRENT_PROBE_MA_AT 22u
#define OUTCOME_REPLY_ON_TICKS_AT 24u
#define OUTCOME_REPLY_BODY_MIN 28u
#define OUTCOME_REPLY_BODY_SIZE 28u

/* restart, request. Offsets count from the body's first byte. */
#define MSG_RESTART 0x17u
#define RESTART_BODY_MIN 0u
#define RESTART_BODY_SIZE 0u
#define RESTART_REPLY_TICK_AT 0u
#define RESTART_REPLY_STATUS_AT 4u
#define RESTART_REPLY_DETAIL_AT 5u
#define RESTART_REPLY_BODY_MIN 7u
#define RESTART_REPLY_BODY_SIZE 7u

/* level, request. Offsets count from the body's first byte. */
#define MSG_LEVEL 0x18u
#define LEVEL_AXIS_AT 0u
#define LEVEL_SPEED_UM_S_AT 1u
#define LEVEL_BODY_MIN 5u
#define LEVEL_BODY_SIZE 5u
#define LEVEL_REPLY_TICK_AT 0u
#define LEVEL_REPLY_STATUS_AT 4u
#define LEVEL_REPLY_DETAIL_AT 5u
#define LEVEL_REPLY_MOTION_AT 7u
#define LEVEL_REPLY_BODY_MIN 9u
#define LEVEL_REPLY_BODY_SIZE 9u

/* hand_over, request. Offsets count from the body's first byte. */
#define MSG_HAND_OVER 0x19u
#define HAND_OVER_AXIS_AT 0u
#define HAND_OVER_COMMANDER_AT 1u
#define HAND_OVER_BODY_MIN 2u
#define HAND_OVER_BODY_SIZE 2u
#define HAND_OVER_REPLY_TICK_AT 0u
#define HAND_OVER_REPLY_STATUS_AT 4u
#define HAND_OVER_REPLY_DETAIL_AT 5u
#define HAND_OVER_REPLY_BODY_MIN 7u
#define HAND_OVER_REPLY_BODY_SIZE 7u

/* credit_off, request. Offsets count from the body's first byte. */
#define MSG_CREDIT_OFF 0x1Au
#define CREDIT_OFF_OFF_S_AT 0u
#define CREDIT_OFF_BODY_MIN 4u
#define CREDIT_OFF_BODY_SIZE 4u
#define CREDIT_OFF_REPLY_TICK_AT 0u
#define CREDIT_OFF_REPLY_STATUS_AT 4u
#define CREDIT_OFF_REPLY_DETAIL_AT 5u
#define CREDIT_OFF_REPLY_BODY_MIN 7u
#define CREDIT_OFF_REPLY_BODY_SIZE 7u

/* draft_begin, request. Offsets count from the body's first byte. */
#define MSG_DRAFT_BEGIN 0x20u
#define DRAFT_BEGIN_SCOPE_AT 0u
#define DRAFT_BEGIN_BODY_MIN 1u
#define DRAFT_BEGIN_BODY_SIZE 1u
#define DRAFT_BEGIN_REPLY_TICK_AT 0u
#define DRAFT_BEGIN_REPLY_STATUS_AT 4u
#define DRAFT_BEGIN_REPLY_DETAIL_AT 5u
#define DRAFT_BEGIN_REPLY_BODY_MIN 7u
#define DRAFT_BEGIN_REPLY_BODY_SIZE 7u

/* draft_set, request. Offsets count from the body's first byte. */
#define MSG_DRAFT_SET 0x21u
#define DRAFT_SET_SCOPE_AT 0u
#define DRAFT_SET_ITEMS_AT 1u
#define DRAFT_SET_ITEMS_ITEM_SIZE 5u
#define DRAFT_SET_ITEMS_KEY_AT 0u
#define DRAFT_SET_ITEMS_VALUE_AT 1u
#define DRAFT_SET_BODY_MIN 6u
#define DRAFT_SET_BODY_SIZE 6u
#define DRAFT_SET_REPLY_TICK_AT 0u
#define DRAFT_SET_REPLY_STATUS_AT 4u
#define DRAFT_SET_REPLY_DETAIL_AT 5u
#define DRAFT_SET_REPLY_BODY_MIN 7u
#define DRAFT_SET_REPLY_BODY_SIZE 7u

/* draft_check, request. Offsets count from the body's first byte. */
#define MSG_DRAFT_CHECK 0x22u
#define DRAFT_CHECK_SCOPE_AT 0u
#define DRAFT_CHECK_BODY_MIN 1u
#define DRAFT_CHECK_BODY_SIZE 1u
#define DRAFT_CHECK_REPLY_TICK_AT 0u
#define DRAFT_CHECK_REPLY_STATUS_AT 4u
#define DRAFT_CHECK_REPLY_DETAIL_AT 5u
#define DRAFT_CHECK_REPLY_DIGEST_AT 7u
#define DRAFT_CHECK_REPLY_BODY_MIN 11u
#define DRAFT_CHECK_REPLY_BODY_SIZE 11u

/* draft_commit, request. Offsets count from the body's first byte. */
#define MSG_DRAFT_COMMIT 0x23u
#define DRAFT_COMMIT_SCOPE_AT 0u
#define DRAFT_COMMIT_BODY_MIN 1u
#define DRAFT_COMMIT_BODY_SIZE 1u
#define DRAFT_COMMIT_REPLY_TICK_AT 0u
#define DRAFT_COMMIT_REPLY_STATUS_AT 4u
#define DRAFT_COMMIT_REPLY_DETAIL_AT 5u
#define DRAFT_COMMIT_REPLY_DIGEST_AT 7u
#define DRAFT_COMMIT_REPLY_BODY_MIN 11u
#define DRAFT_COMMIT_REPLY_BODY_SIZE 11u

/* draft_discard, request. Offsets count from the body's first byte. */
#define MSG_DRAFT_DISCARD 0x24u
#define DRAFT_DISCARD_SCOPE_AT 0u
#define DRAFT_DISCARD_BODY_MIN 1u
#define DRAFT_DISCARD_BODY_SIZE 1u
#define DRAFT_DISCARD_REPLY_TICK_AT 0u
#define DRAFT_DISCARD_REPLY_STATUS_AT 4u
#define DRAFT_DISCARD_REPLY_DETAIL_AT 5u
#define DRAFT_DISCARD_REPLY_BODY_MIN 7u
#define DRAFT_DISCARD_REPLY_BODY_SIZE 7u

/* store, request. Offsets count from the body's first byte. */
#define MSG_STORE 0x25u
#define STORE_BODY_MIN 0u
#define STORE_BODY_SIZE 0u
#define STORE_REPLY_TICK_AT 0u
#define STORE_REPLY_STATUS_AT 4u
#define STORE_REPLY_DETAIL_AT 5u
#define STORE_REPLY_GENERATION_AT 7u
#define STORE_REPLY_BODY_MIN 9u
#define STORE_REPLY_BODY_SIZE 9u

/* settings_get, request. Offsets count from the body's first byte. */
#define MSG_SETTINGS_GET 0x26u
#define SETTINGS_GET_WHICH_AT 0u
#define SETTINGS_GET_SCOPE_AT 1u
#define SETTINGS_GET_FIRST_KEY_AT 2u
#define SETTINGS_GET_BODY_MIN 3u
#define SETTINGS_GET_BODY_SIZE 3u
#define SETTINGS_GET_REPLY_TICK_AT 0u
#define SETTINGS_GET_REPLY_STATUS_AT 4u
#define SETTINGS_GET_REPLY_DETAIL_AT 5u
#define SETTINGS_GET_REPLY_SCOPE_AT 7u
#define SETTINGS_GET_REPLY_ITEMS_AT 8u
#define SETTINGS_GET_REPLY_ITEMS_ITEM_SIZE 5u
#define SETTINGS_GET_REPLY_ITEMS_KEY_AT 0u
#define SETTINGS_GET_REPLY_ITEMS_VALUE_AT 1u
#define SETTINGS_GET_REPLY_BODY_MIN 8u
#define SETTINGS_GET_REPLY_BODY_SIZE 8u

/* digests, request. Offsets count from the body's first byte. */
#define MSG_DIGESTS 0x27u
#define DIGESTS_BODY_MIN 0u
#define DIGESTS_BODY_SIZE 0u
#define DIGESTS_REPLY_TICK_AT 0u
#define DIGESTS_REPLY_STATUS_AT 4u
#define DIGESTS_REPLY_DETAIL_AT 5u
#define DIGESTS_REPLY_LIVE_AT 7u
#define DIGESTS_REPLY_STORED_AT 11u
#define DIGESTS_REPLY_BOARD_AT 15u
#define DIGESTS_REPLY_AXIS_1_AT 19u
#define DIGESTS_REPLY_AXIS_2_AT 23u
#define DIGESTS_REPLY_STORING_AT 27u
#define DIGESTS_REPLY_BODY_MIN 28u
#define DIGESTS_REPLY_BODY_SIZE 28u

/* trip_get, request. Offsets count from the body's first byte. */
#define MSG_TRIP_GET 0x28u
#define TRIP_GET_AGE_AT 0u
#define TRIP_GET_BODY_MIN 1u
#define TRIP_GET_BODY_SIZE 1u
#define TRIP_GET_REPLY_TICK_AT 0u
#define TRIP_GET_REPLY_STATUS_AT 4u
#define TRIP_GET_REPLY_DETAIL_AT 5u
#define TRIP_GET_REPLY_NUMBER_AT 7u
#define TRIP_GET_REPLY_AXIS_AT 9u
#define TRIP_GET_REPLY_FAULT_AT 10u
#define TRIP_GET_REPLY_POSITION_UM_AT 11u
#define TRIP_GET_REPLY_RAW_AT 15u
#define TRIP_GET_REPLY_CURRENT_MA_AT 17u
#define TRIP_GET_REPLY_SUPPLY_MV_AT 19u
#define TRIP_GET_REPLY_OUTPUT_PERCENT_AT 21u
#define TRIP_GET_REPLY_UPTIME_MIN_AT 22u
#define TRIP_GET_REPLY_BODY_MIN 24u
#define TRIP_GET_REPLY_BODY_SIZE 24u

/* black_box, request. Offsets count from the body's first byte. */
#define MSG_BLACK_BOX 0x29u
#define BLACK_BOX_AXIS_AT 0u
#define BLACK_BOX_FIRST_AT 1u
#define BLACK_BOX_BODY_MIN 2u
#define BLACK_BOX_BODY_SIZE 2u
#define BLACK_BOX_REPLY_TICK_AT 0u
#define BLACK_BOX_REPLY_STATUS_AT 4u
#define BLACK_BOX_REPLY_DETAIL_AT 5u
#define BLACK_BOX_REPLY_TRIP_AXIS_AT 7u
#define BLACK_BOX_REPLY_TRIP_FAULT_AT 8u
#define BLACK_BOX_REPLY_COUNT_AT 9u
#define BLACK_BOX_REPLY_ITEMS_AT 10u
#define BLACK_BOX_REPLY_ITEMS_ITEM_SIZE 3u
#define BLACK_BOX_REPLY_ITEMS_PLACE_OUTPUT_AT 0u
#define BLACK_BOX_REPLY_ITEMS_CURRENT_AT 2u
#define BLACK_BOX_REPLY_BODY_MIN 10u
#define BLACK_BOX_REPLY_BODY_SIZE 10u

/* totals, request. Offsets count from the body's first byte. */
#define MSG_TOTALS 0x2Au
#define TOTALS_AXIS_AT 0u
#define TOTALS_BODY_MIN 1u
#define TOTALS_BODY_SIZE 1u
#define TOTALS_REPLY_TICK_AT 0u
#define TOTALS_REPLY_STATUS_AT 4u
#define TOTALS_REPLY_DETAIL_AT 5u
#define TOTALS_REPLY_ON_S_AT 7u
#define TOTALS_REPLY_STARTS_AT 11u
#define TOTALS_REPLY_TRAVEL_MM_AT 15u
#define TOTALS_REPLY_BODY_MIN 19u
#define TOTALS_REPLY_BODY_SIZE 19u

/* subscribe, request. Offsets count from the body's first byte. */
#define MSG_SUBSCRIBE 0x30u
#define SUBSCRIBE_AXIS_PERIOD_MS_AT 0u
#define SUBSCRIBE_BOARD_PERIOD_MS_AT 2u
#define SUBSCRIBE_BODY_MIN 4u
#define SUBSCRIBE_BODY_SIZE 4u
#define SUBSCRIBE_REPLY_TICK_AT 0u
#define SUBSCRIBE_REPLY_STATUS_AT 4u
#define SUBSCRIBE_REPLY_DETAIL_AT 5u
#define SUBSCRIBE_REPLY_BODY_MIN 7u
#define SUBSCRIBE_REPLY_BODY_SIZE 7u

/* alive, one_way. Offsets count from the body's first byte. */
#define MSG_ALIVE 0x60u
#define ALIVE_TICK_AT 0u
#define ALIVE_BODY_MIN 4u
#define ALIVE_BODY_SIZE 4u

/* telemetry_axis, unasked. Offsets count from the body's first byte. */
#define MSG_TELEMETRY_AXIS 0x70u
#define TELEMETRY_AXIS_TICK_AT 0u
#define TELEMETRY_AXIS_AXIS_AT 4u
#define TELEMETRY_AXIS_STATE_AT 5u
#define TELEMETRY_AXIS_FLAGS_AT 6u
#define TELEMETRY_AXIS_RAW_AT 7u
#define TELEMETRY_AXIS_POSITION_UM_AT 9u
#define TELEMETRY_AXIS_SPEED_UM_S_AT 13u
#define TELEMETRY_AXIS_REFERENCE_UM_AT 17u
#define TELEMETRY_AXIS_CURRENT_MA_AT 21u
#define TELEMETRY_AXIS_OUTPUT_PERMILLE_AT 23u
#define TELEMETRY_AXIS_FAULTS_AT 25u
#define TELEMETRY_AXIS_DUTY_USED_PERMILLE_AT 29u
#define TELEMETRY_AXIS_MOTION_AT 31u
#define TELEMETRY_AXIS_ALSO_AT 33u
#define TELEMETRY_AXIS_BODY_MIN 33u
#define TELEMETRY_AXIS_BODY_SIZE 34u

/* telemetry_board, unasked. Offsets count from the body's first byte. */
#define MSG_TELEMETRY_BOARD 0x71u
#define TELEMETRY_BOARD_TICK_AT 0u
#define TELEMETRY_BOARD_SUPPLY_MV_AT 4u
#define TELEMETRY_BOARD_BOARD_5V_MV_AT 6u
#define TELEMETRY_BOARD_INPUTS_AT 8u
#define TELEMETRY_BOARD_FAULTS_AT 9u
#define TELEMETRY_BOARD_ON_TICKS_1_AT 13u
#define TELEMETRY_BOARD_ON_TICKS_2_AT 17u
#define TELEMETRY_BOARD_DUTY_LEFT_1_MS_AT 21u
#define TELEMETRY_BOARD_DUTY_LEFT_2_MS_AT 25u
#define TELEMETRY_BOARD_FRAMES_BAD_AT 29u
#define TELEMETRY_BOARD_LATE_TICKS_AT 31u
#define TELEMETRY_BOARD_DUTY_READY_1_MS_AT 33u
#define TELEMETRY_BOARD_DUTY_READY_2_MS_AT 37u
#define TELEMETRY_BOARD_HEAT_1_PERMILLE_AT 41u
#define TELEMETRY_BOARD_HEAT_2_PERMILLE_AT 43u
#define TELEMETRY_BOARD_LOCAL_1_AT 45u
#define TELEMETRY_BOARD_LOCAL_2_AT 47u
#define TELEMETRY_BOARD_BODY_MIN 33u
#define TELEMETRY_BOARD_BODY_SIZE 49u

/* event, unasked. Offsets count from the body's first byte. */
#define MSG_EVENT 0x72u
#define EVENT_TICK_AT 0u
#define EVENT_NUMBER_AT 4u
#define EVENT_AXIS_AT 6u
#define EVENT_KIND_AT 7u
#define EVENT_CAUSE_AT 8u
#define EVENT_RAW_AT 9u
#define EVENT_POSITION_UM_AT 11u
#define EVENT_CURRENT_MA_AT 15u
#define EVENT_OUTPUT_PERMILLE_AT 17u
#define EVENT_VALUE_A_AT 19u
#define EVENT_VALUE_B_AT 23u
#define EVENT_BODY_MIN 27u
#define EVENT_BODY_SIZE 27u

#define KEY_BOARD_BOARD_ID 1u
#define KEY_BOARD_SUPPLY_NOMINAL_MV 2u
#define KEY_BOARD_SUPPLY_RATIO_X1000 3u
#define KEY_BOARD_SUPPLY_CALIBRATED 4u
#define KEY_BOARD_BOARD_5V_MV 5u
#define KEY_BOARD_SUPPLY_LOW_MV 6u
#define KEY_BOARD_SUPPLY_HIGH_MV 7u
#define KEY_BOARD_STOP_INPUT 8u
#define KEY_BOARD_APART_TRIP_UM 9u
#define KEY_BOARD_LAST 9u
#define SETTINGS_BOARD_SIZE 18u
#define SETTINGS_BOARD_ENTRIES 9u

/* In memory as digested and stored: keys in id order, packed, little-endian. */
typedef struct __attribute__((packed)) {
    uint32_t board_id;
    uint16_t supply_nominal_mv;
    uint16_t supply_ratio_x1000;
    uint8_t supply_calibrated;
    uint16_t board_5v_mv;
    uint16_t supply_low_mv;
    uint16_t supply_high_mv;
    uint8_t stop_input;
    uint16_t apart_trip_um;
} settings_board_t;

#define KEY_AXIS_FEEDBACK 1u
#define KEY_AXIS_CALIBRATED 2u
#define KEY_AXIS_MOTOR_REVERSED 3u
#define KEY_AXIS_RAW_RETRACTED 4u
#define KEY_AXIS_RAW_EXTENDED 5u
#define KEY_AXIS_STROKE_UM 6u
#define KEY_AXIS_SOFT_STOP_MIN_UM 7u
#define KEY_AXIS_SOFT_STOP_MAX_UM 8u
#define KEY_AXIS_SPEED_MAX_UM_S 9u
#define KEY_AXIS_ACCELERATION_UM_S2 10u
#define KEY_AXIS_DECELERATION_UM_S2 11u
#define KEY_AXIS_CREEP_OUTPUT_PERMILLE 12u
#define KEY_AXIS_CREEP_SPEED_UM_S 13u
#define KEY_AXIS_OUTPUT_MAX_PERMILLE 14u
#define KEY_AXIS_STOP_BY 15u
#define KEY_AXIS_DRIVER 16u
#define KEY_AXIS_CURRENT_SENSOR 17u
#define KEY_AXIS_CURRENT_UV_PER_MA 18u
#define KEY_AXIS_CURRENT_ZERO 19u
#define KEY_AXIS_TRIP_MA 20u
#define KEY_AXIS_TRIP_MS 21u
#define KEY_AXIS_STALL_TIME_MS 22u
#define KEY_AXIS_RUNNING_MA 23u
#define KEY_AXIS_FULL_SPEED_EXTEND_UM_S 24u
#define KEY_AXIS_FULL_SPEED_RETRACT_UM_S 25u
#define KEY_AXIS_SPEED_SUPPLY_MV 26u
#define KEY_AXIS_DEAD_ZONE_EXTEND_PERMILLE 27u
#define KEY_AXIS_DEAD_ZONE_RETRACT_PERMILLE 28u
#define KEY_AXIS_RUN_ON_EXTEND_UM 29u
#define KEY_AXIS_RUN_ON_RETRACT_UM 30u
#define KEY_AXIS_NOISE_X16 31u
#define KEY_AXIS_DUTY_SHARE_PERMILLE 32u
#define KEY_AXIS_DUTY_WINDOW_S 33u
#define KEY_AXIS_POT_MARGIN_RAW 34u
#define KEY_AXIS_MOVE_HOLD_MS 35u
#define KEY_AXIS_STALL_MA 36u
#define KEY_AXIS_TABLE_POINTS 37u
#define KEY_AXIS_TABLE_RAW 38u
#define KEY_AXIS_TABLE_PLACE 46u
#define KEY_AXIS_CURRENT_SENSOR_RATIOMETRIC 54u
#define KEY_AXIS_STROKE_TIME_EXTEND_CS 55u
#define KEY_AXIS_STROKE_TIME_RETRACT_CS 56u
#define KEY_AXIS_FOLLOWING_UM 57u
#define KEY_AXIS_FOLD_BACK_MA 58u
#define KEY_AXIS_RATED_MA 59u
#define KEY_AXIS_THERMAL_TIME_S 60u
#define KEY_AXIS_THERMAL_WARN_PERCENT 61u
#define KEY_AXIS_THERMAL_TRIP_PERCENT 62u
#define KEY_AXIS_LOCAL_SOURCE 63u
#define KEY_AXIS_LOCAL_AS 64u
#define KEY_AXIS_LOCAL_LOW_END 65u
#define KEY_AXIS_LOCAL_REST 66u
#define KEY_AXIS_LOCAL_REST_BAND 67u
#define KEY_AXIS_LOCAL_HIGH_END 68u
#define KEY_AXIS_LOCAL_PLACE_RETRACT 69u
#define KEY_AXIS_LOCAL_PLACE_EXTEND 70u
#define KEY_AXIS_LOCAL_LOSS_MS 71u
#define KEY_AXIS_LAST 71u
#define SETTINGS_AXIS_SIZE 148u
#define SETTINGS_AXIS_ENTRIES 57u

/* In memory as digested and stored: keys in id order, packed, little-endian. */
typedef struct __attribute__((packed)) {
    uint8_t feedback;
    uint8_t calibrated;
    uint8_t motor_reversed;
    uint16_t raw_retracted;
    uint16_t raw_extended;
    int32_t stroke_um;
    int32_t soft_stop_min_um;
    int32_t soft_stop_max_um;
    int32_t speed_max_um_s;
    int32_t acceleration_um_s2;
    int32_t deceleration_um_s2;
    uint16_t creep_output_permille;
    int32_t creep_speed_um_s;
    uint16_t output_max_permille;
    uint8_t stop_by;
    uint8_t driver;
    uint8_t current_sensor;
    uint16_t current_uv_per_ma;
    uint16_t current_zero;
    uint16_t trip_ma;
    uint16_t trip_ms;
    uint16_t stall_time_ms;
    uint16_t running_ma;
    int32_t full_speed_extend_um_s;
    int32_t full_speed_retract_um_s;
    uint16_t speed_supply_mv;
    uint16_t dead_zone_extend_permille;
    uint16_t dead_zone_retract_permille;
    uint16_t run_on_extend_um;
    uint16_t run_on_retract_um;
    uint16_t noise_x16;
    uint16_t duty_share_permille;
    uint16_t duty_window_s;
    uint16_t pot_margin_raw;
    uint16_t move_hold_ms;
    uint16_t stall_ma;
    uint8_t table_points;
    uint16_t table_raw[8];
    uint16_t table_place[8];
    uint8_t current_sensor_ratiometric;
    uint16_t stroke_time_extend_cs;
    uint16_t stroke_time_retract_cs;
    uint16_t following_um;
    uint16_t fold_back_ma;
    uint16_t rated_ma;
    uint16_t thermal_time_s;
    uint8_t thermal_warn_percent;
    uint8_t thermal_trip_percent;
    uint8_t local_source;
    uint8_t local_as;
    uint16_t local_low_end;
    uint16_t local_rest;
    uint16_t local_rest_band;
    uint16_t local_high_end;
    uint16_t local_place_retract;
    uint16_t local_place_extend;
    uint16_t local_loss_ms;
} settings_axis_t;

/* Keys run from 1 to `keys`. Key k lies at at[k - 1]; the scope's size comes last. */
typedef struct __attribute__((packed)) {
    uint8_t keys;
    uint8_t at[KEY_BOARD_LAST + 1u];
    settings_board_t least, most, initial;
} key_table_board_t;
extern const key_table_board_t key_table_board CORE_ROM;

typedef struct __attribute__((packed)) {
    uint8_t keys;
    uint8_t at[KEY_AXIS_LAST + 1u];
    settings_axis_t least, most, initial;
} key_table_axis_t;
extern const key_table_axis_t key_table_axis CORE_ROM;

/* The cross rules, for core/rule.c: plain ones, then of changes, then of both axes. */
extern const uint8_t rules_board[] CORE_ROM;
extern const uint8_t rules_axis[] CORE_ROM;
#define RULE_DEPTH 7u

#endif
