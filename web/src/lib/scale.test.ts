import { describe, expect, test } from 'vitest'
import { farthestMS, graduations, lanes, nearestMS, placeOnBar } from './scale'

describe('the bar of time until harm', () => {
  test('reaches from its near end to its far end and no further', () => {
    expect(placeOnBar(nearestMS)).toBe(0)
    expect(placeOnBar(nearestMS / 2)).toBe(0)
    expect(placeOnBar(-1)).toBe(0)
    expect(placeOnBar(farthestMS)).toBe(1)
    expect(placeOnBar(farthestMS * 2)).toBe(1)
  })

  test('is logarithmic: equal ratios, equal steps', () => {
    const step = placeOnBar(nearestMS * 4) - placeOnBar(nearestMS * 2)
    expect(placeOnBar(nearestMS * 2)).toBeCloseTo(step, 12)
    expect(placeOnBar(nearestMS * 200) - placeOnBar(nearestMS * 100)).toBeCloseTo(step, 12)
  })

  test('its graduations are in order and within it', () => {
    const places = graduations.map(({ ms }) => placeOnBar(ms))
    expect(places).toEqual([...places].sort((a, b) => a - b))
    expect(places.every((place) => place > 0 && place < 1)).toBe(true)
  })
})

describe('lanes', () => {
  test.each([
    ['none', [], []],
    ['far apart: all low', [0.1, 0.5, 0.9], [0, 0, 0]],
    ['two close', [0.5, 0.52], [0, 1]],
    ['three close, then room again', [0.5, 0.52, 0.54, 0.9], [0, 1, 2, 0]],
    ['in any order', [0.52, 0.5], [1, 0]],
    ['exactly apart', [0.1, 0.2], [0, 0]],
  ])('%s', (_, places, want) => {
    expect(lanes(places, 0.1)).toEqual(want)
  })
})
